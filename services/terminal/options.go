package terminal

import (
	"cmp"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"ramprow/internal/platform/config"
	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/rpc"
)

// options are the flags that every command shares.
type options struct {
	output    string
	token     string
	as        string
	data      string
	addresses map[string]*string
	tls       rpc.ClientTLS
	requestID string
	atLeast   uint64
	timeout   time.Duration
}

// The ways to show an answer.
const (
	outputTable = "table"
	outputJSON  = "json"
)

const (
	dataFlag       = "data"
	defaultTimeout = 30 * time.Second
)

func (o *options) bind(command *cobra.Command) {
	flags := command.PersistentFlags()
	flags.StringVarP(&o.output, "output", "o", outputTable, "table for people, json for programs (one object a line)")
	flags.StringVar(&o.as, "as", "", "act in this role, by the token in the data folder (environment: "+RoleVariable+")")
	flags.StringVar(&o.data, dataFlag, "", "data folder of a workshop on this machine (environment: "+DataVariable+"; otherwise "+DefaultDir+")")
	flags.StringVar(&o.token, "token", "", "token that says who you are (environment: "+TokenVariable+")")
	o.addresses = map[string]*string{}
	for _, role := range append(RoleNames(), RoleTraces) {
		o.addresses[role] = flags.String(role+"-address", "", fmt.Sprintf("host:port of %s (environment: %s; otherwise %s)", role, AddressVariable(role), DefaultAddress(role)))
	}
	flags.StringVar(&o.tls.CA, "ca", "", "PEM file with the authorities that servers are trusted by (environment: "+CAVariable+")")
	flags.StringVar(&o.tls.Certificate, "cert", "", "PEM file with your certificate (environment: "+CertVariable+")")
	flags.StringVar(&o.tls.Key, "key", "", "PEM file with the key of --cert (environment: "+KeyVariable+")")
	flags.StringVar(&o.requestID, "request-id", "", "send a command again under the id that it had: it is done once")
	flags.Uint64Var(&o.atLeast, "at-least", 0, "read at least as new as this revision of a receipt")
	flags.DurationVar(&o.timeout, "timeout", defaultTimeout, "how long to wait for an answer")
	completeFlag(command, "output", outputTable, outputJSON)
	completeFlag(command, "as", roleWords()...)
}

func (o *options) check() error {
	if o.output != outputTable && o.output != outputJSON {
		return fmt.Errorf("--output %q is unknown; use table or json", o.output)
	}
	if o.timeout <= 0 {
		return fmt.Errorf("--timeout %s is no time; use something like 30s", o.timeout)
	}
	return nil
}

func (o *options) dir() string { return cmp.Or(o.data, os.Getenv(DataVariable), DefaultDir) }

// callerToken finds the token: what is typed goes before the environment, and
// a role goes before a token of the same rank.
func (o *options) callerToken() (string, error) {
	switch {
	case o.as != "":
		return tokenOf(o.dir(), o.as)
	case o.token != "":
		return o.token, nil
	case os.Getenv(RoleVariable) != "":
		return tokenOf(o.dir(), os.Getenv(RoleVariable))
	case os.Getenv(TokenVariable) != "":
		return os.Getenv(TokenVariable), nil
	}
	return "", fmt.Errorf("who are you? give --as with one of %s, or --token; or set %s or %s",
		strings.Join(roleWords(), ", "), RoleVariable, TokenVariable)
}

func tokenOf(dir, word string) (string, error) {
	if !slices.Contains(roleWords(), word) {
		return "", fmt.Errorf("there is no role %q; use one of %s", word, strings.Join(roleWords(), ", "))
	}
	file := TokenFile(dir, word)
	token, err := os.ReadFile(file) //nolint:gosec // the folder is the caller's own choice
	if errors.Is(err, os.ErrNotExist) {
		return "", fmt.Errorf("no token of the %s in %s; `ramprow up --data %s` writes it, or name the folder with --data", word, file, dir)
	}
	if err != nil {
		return "", fmt.Errorf("read the token: %w", err)
	}
	return strings.TrimSpace(string(token)), nil
}

// roleWords are the roles as they are typed.
func roleWords() []string {
	var words []string
	for _, r := range identity.Roles() {
		words = append(words, RoleWord(r))
	}
	return words
}

// RoleWord is a role as people type it, as in parts-clerk.
func RoleWord(r identity.Role) string { return strings.ReplaceAll(string(r), "_", "-") }

// dial finds the services: by flag, by variable, by what a workshop on this
// machine left in its folder, or where they usually are.
func (o *options) dial() DialConfig {
	c := DialConfig{Addresses: map[string]string{}}
	for _, role := range append(RoleNames(), RoleTraces) {
		left, err := os.ReadFile(AddressFile(o.dir(), role))
		if err != nil {
			left = nil // no workshop runs from this folder
		}
		c.Addresses[role] = cmp.Or(*o.addresses[role], os.Getenv(AddressVariable(role)), strings.TrimSpace(string(left)), DefaultAddress(role))
	}
	tls := rpc.ClientTLS{
		CA:          cmp.Or(o.tls.CA, os.Getenv(CAVariable)),
		Certificate: cmp.Or(o.tls.Certificate, os.Getenv(CertVariable)),
		Key:         cmp.Or(o.tls.Key, os.Getenv(KeyVariable)),
	}
	if tls != (rpc.ClientTLS{}) {
		c.TLS = &tls
	}
	return c
}

// checkTLS finds files that are missing before a call fails for want of them.
func checkTLS(tls *rpc.ClientTLS) error {
	if tls == nil {
		return nil
	}
	peers := config.Peers{TLS: config.ClientTLS{CA: tls.CA, Certificate: tls.Certificate, Key: tls.Key}}
	if err := peers.Validate(); err != nil {
		return fmt.Errorf("%s", strings.ReplaceAll(err.Error(), "--peer-", "--"))
	}
	return nil
}
