package main

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"ramprow/internal/platform/identity"
	"ramprow/services/ramprow/stack"
)

// tokenConfig says whom a token is for.
type tokenConfig struct {
	key, data    string
	site, person string
	roles        []string
	ttl          time.Duration
	publicKey    string
}

const (
	shiftTTL = 12 * time.Hour
	maxTTL   = 366 * 24 * time.Hour
)

func tokenCommand() *cobra.Command {
	c := &tokenConfig{}
	command := &cobra.Command{
		Use:     "token",
		Short:   "Issue a token that lets a person act in roles at a site",
		GroupID: groupCare,
		Example: "  ramprow token --data .ramprow --person tomas --role technician\n" +
			"  ramprow token --key token.pem --site north --person ines --role owner --ttl 1h\n" +
			"  ramprow token --key token.pem --public-key token.pub.pem    # makes the key if need be",
		Args: cobra.NoArgs,
		RunE: func(command *cobra.Command, _ []string) error {
			token, err := c.issue(time.Now())
			if err != nil || token == "" {
				return err
			}
			_, err = fmt.Fprintln(command.OutOrStdout(), token)
			return err
		},
	}
	flags := command.Flags()
	flags.StringVar(&c.key, "key", "", "PEM file with the private token key")
	flags.StringVar(&c.data, "data", "", "folder of `ramprow up`, whose key is taken")
	flags.StringVar(&c.site, "site", defaultSite, "the workshop")
	flags.StringVar(&c.person, "person", "", "who, as unique in the workshop")
	flags.StringSliceVar(&c.roles, "role", nil, "dispatcher, parts-clerk, technician or owner; may be repeated")
	flags.DurationVar(&c.ttl, "ttl", shiftTTL, "how long it is good for")
	flags.StringVar(&c.publicKey, "public-key", "", "write the half that verifies to this file, for ramprow serve --token-keys; makes --key if it is absent")
	command.MarkFlagsOneRequired("key", "data")
	command.MarkFlagsMutuallyExclusive("key", "data")
	command.MarkFlagsOneRequired("person", "public-key")
	return command
}

// issue gives a token; none when only the public key was asked for.
func (c *tokenConfig) issue(now time.Time) (string, error) {
	key, err := c.load()
	if err != nil {
		return "", err
	}
	if c.publicKey != "" {
		if err := key.WritePublicKey(c.publicKey); err != nil {
			return "", err
		}
	}
	if c.person == "" {
		return "", nil
	}
	if c.ttl <= 0 || c.ttl > maxTTL {
		return "", fmt.Errorf("--ttl %s is out of range; use more than 0 and at most a year", c.ttl)
	}
	if len(c.roles) == 0 {
		return "", errors.New("--role is missing; use dispatcher, parts-clerk, technician or owner")
	}
	roles := make([]identity.Role, len(c.roles))
	for i, word := range c.roles {
		roles[i] = identity.Role(strings.ReplaceAll(word, "-", "_"))
	}
	signer := identity.NewSigner(identity.SignerConfig{Key: key})
	return signer.Issue(identity.Identity{Site: c.site, Person: c.person, Roles: roles}, c.ttl, now)
}

func (c *tokenConfig) load() (identity.Key, error) {
	switch {
	case c.data != "":
		return identity.LoadKey(stack.KeyFile(c.data))
	case c.publicKey != "":
		return identity.LoadOrCreateKey(c.key)
	default:
		return identity.LoadKey(c.key)
	}
}
