package main

import (
	"bufio"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"ramprow/internal/platform/identity"
	"ramprow/services/desk"
	"ramprow/services/ramprow/stack"
	"ramprow/services/terminal"
)

// pinConfig says who is given a PIN.
type pinConfig struct {
	people, data string
	site, person string
	roles        []string
}

func pinCommand() *cobra.Command {
	c := &pinConfig{}
	command := &cobra.Command{
		Use:     "pin",
		Short:   "Give a person a PIN to sign in at the pages; it is read from the standard input",
		GroupID: groupCare,
		Example: "  ramprow pin --person tomas --role technician\n" +
			"  echo 482913 | ramprow pin --people people.json --site north --person ines --role owner",
		Args: cobra.NoArgs,
		RunE: func(command *cobra.Command, _ []string) error {
			lines := bufio.NewScanner(command.InOrStdin())
			if _, err := fmt.Fprintf(command.ErrOrStderr(), "PIN for %s (4 to 12 digits): ", c.person); err != nil {
				return err
			}
			if !lines.Scan() {
				return errors.Join(errors.New("no PIN was typed"), lines.Err())
			}
			if err := c.set(strings.TrimSpace(lines.Text())); err != nil {
				return err
			}
			_, err := fmt.Fprintf(command.OutOrStdout(), "%s may sign in at %s as %s.\n", c.person, c.site, strings.Join(c.roles, ", "))
			return err
		},
	}
	flags := command.Flags()
	flags.StringVar(&c.people, "people", "", "register to write, for ramprow serve desk --people")
	flags.StringVar(&c.data, "data", terminal.DefaultDir, "folder of `ramprow up`, whose register is written")
	flags.StringVar(&c.site, "site", defaultSite, "the workshop")
	flags.StringVar(&c.person, "person", "", "who, as unique in the workshop")
	flags.StringSliceVar(&c.roles, "role", nil, "dispatcher, parts-clerk, technician or owner; may be repeated")
	command.MarkFlagsMutuallyExclusive("people", "data")
	for _, required := range []string{"person", "role"} {
		if err := command.MarkFlagRequired(required); err != nil {
			panic(err) // the flag stands above
		}
	}
	return command
}

func (c *pinConfig) set(pin string) error {
	path := c.people
	if path == "" {
		path = stack.PeopleFile(c.data)
	}
	roles := make([]identity.Role, len(c.roles))
	for i, word := range c.roles {
		roles[i] = identity.Role(strings.ReplaceAll(word, "-", "_"))
	}
	return desk.OpenPeople(path, nil).Set(identity.Identity{Site: c.site, Person: c.person, Roles: roles}, pin)
}
