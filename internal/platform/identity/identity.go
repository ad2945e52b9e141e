// Package identity says who calls: a person of one site with roles, proved by a
// signed token. Tokens are JSON Web Tokens (RFC 7519) signed with Ed25519
// (RFC 8037); the algorithm is pinned, so a token cannot choose a weaker one.
package identity

import (
	"context"
	"regexp"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"ramprow/internal/platform/fault"
)

// Role is what a person does in the workshop.
type Role string

// The roles, spelt as in a token's claim.
const (
	Dispatcher Role = "dispatcher"
	PartsClerk Role = "parts_clerk"
	Technician Role = "technician"
	Owner      Role = "owner"
)

// Roles lists the roles of people. A token may carry several of them, or Calendar alone.
func Roles() []Role { return []Role{Dispatcher, PartsClerk, Technician, Owner} }

// maxPersonRunes bounds a person's identifier: it stands in every event that
// the person causes.
const maxPersonRunes = 80

var sitePattern = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,39}$`)

// Identity is one person at one site.
type Identity struct {
	// Site is lower-case letters, digits and hyphens, at most 40 characters: it
	// becomes part of subjects and keys.
	Site string
	// Person is unique within the site: 1 to 80 printable characters.
	Person string
	Roles  []Role
}

// Validate tells which part of an identity cannot be used, as a fault of kind Invalid.
func (id Identity) Validate() error {
	err := fault.New(fault.Invalid, "IDENTITY_INVALID", "the identity cannot be used; correct the named fields")
	if !ValidSite(id.Site) {
		err = err.WithField("site", "must be 1 to 40 lower-case letters, digits or hyphens and start with a letter or digit")
	}
	if !validPerson(id.Person) {
		err = err.WithField("person", "must be 1 to %d printable characters without spaces at the ends", maxPersonRunes)
	}
	if len(id.Roles) == 0 {
		err = err.WithField("roles", "must name at least one role")
	}
	for _, r := range id.Roles {
		if r == Calendar && len(id.Roles) == 1 {
			continue
		}
		if !slices.Contains(Roles(), r) {
			err = err.WithField("roles", "%q is no role; use one of %v", string(r), Roles())
		}
	}
	if len(err.Fields) > 0 {
		return err
	}
	return nil
}

// Has tells whether the person may act in a role. The owner may act in every role.
func (id Identity) Has(role Role) bool {
	return slices.Contains(id.Roles, role) || slices.Contains(id.Roles, Owner)
}

// ValidSite tells whether a name can be a site's.
func ValidSite(site string) bool { return sitePattern.MatchString(site) }

func validPerson(person string) bool {
	if person == "" || !utf8.ValidString(person) || utf8.RuneCountInString(person) > maxPersonRunes {
		return false
	}
	if strings.TrimSpace(person) != person {
		return false
	}
	return !strings.ContainsFunc(person, func(r rune) bool { return !unicode.IsPrint(r) })
}

type contextKey struct{}

// NewContext gives a context that carries who calls.
func NewContext(ctx context.Context, id Identity) context.Context {
	return context.WithValue(ctx, contextKey{}, id)
}

// FromContext gives who calls, and false where nobody was authenticated.
func FromContext(ctx context.Context) (Identity, bool) {
	id, ok := ctx.Value(contextKey{}).(Identity)
	return id, ok
}
