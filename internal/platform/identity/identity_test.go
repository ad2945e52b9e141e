package identity_test

import (
	"context"
	"errors"
	"strings"
	"testing"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/identity"
)

func TestValidate(t *testing.T) {
	good := identity.Identity{Site: "north-2", Person: "Ada Moss", Roles: []identity.Role{identity.Technician}}
	tests := []struct {
		name   string
		change func(*identity.Identity)
		field  string // "" means valid
	}{
		{"as it should be", func(*identity.Identity) {}, ""},
		{"longest site", func(id *identity.Identity) { id.Site = strings.Repeat("a", 40) }, ""},
		{"site too long", func(id *identity.Identity) { id.Site = strings.Repeat("a", 41) }, "site"},
		{"no site", func(id *identity.Identity) { id.Site = "" }, "site"},
		{"site with a dot would be two subject tokens", func(id *identity.Identity) { id.Site = "a.b" }, "site"},
		{"site with a wildcard", func(id *identity.Identity) { id.Site = "*" }, "site"},
		{"site in capitals", func(id *identity.Identity) { id.Site = "North" }, "site"},
		{"site with a line's end", func(id *identity.Identity) { id.Site = "north\n" }, "site"},
		{"site starts with a hyphen", func(id *identity.Identity) { id.Site = "-a" }, "site"},
		{"longest person, in runes", func(id *identity.Identity) { id.Person = strings.Repeat("ü", 80) }, ""},
		{"person too long", func(id *identity.Identity) { id.Person = strings.Repeat("a", 81) }, "person"},
		{"no person", func(id *identity.Identity) { id.Person = "" }, "person"},
		{"person of spaces", func(id *identity.Identity) { id.Person = "  " }, "person"},
		{"person with a control character", func(id *identity.Identity) { id.Person = "a\x00b" }, "person"},
		{"person with a reversed reading order", func(id *identity.Identity) { id.Person = "a\u202eb" }, "person"},
		{"person in broken UTF-8", func(id *identity.Identity) { id.Person = "a\xff" }, "person"},
		{"no role", func(id *identity.Identity) { id.Roles = nil }, "roles"},
		{"unknown role", func(id *identity.Identity) { id.Roles = []identity.Role{"king"} }, "roles"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			id := good
			tt.change(&id)
			err := id.Validate()
			if tt.field == "" {
				if err != nil {
					t.Fatalf("refused: %v", err)
				}
				return
			}
			f, ok := errors.AsType[*fault.Error](err)
			if !ok || f.Kind != fault.Invalid || len(f.Fields) != 1 || f.Fields[0].Path != tt.field {
				t.Fatalf("got %+v, want field %q refused", f, tt.field)
			}
		})
	}
}

func TestHas(t *testing.T) {
	technician := identity.Identity{Roles: []identity.Role{identity.Technician}}
	owner := identity.Identity{Roles: []identity.Role{identity.Owner}}
	for _, role := range identity.Roles() {
		if got, want := technician.Has(role), role == identity.Technician; got != want {
			t.Errorf("technician as %s: %v", role, got)
		}
		if !owner.Has(role) {
			t.Errorf("the owner may act as %s", role)
		}
	}
}

func TestContextCarriesTheIdentity(t *testing.T) {
	if _, ok := identity.FromContext(context.Background()); ok {
		t.Error("a bare context names nobody")
	}
	want := identity.Identity{Site: "north", Person: "ada", Roles: []identity.Role{identity.Dispatcher}}
	got, ok := identity.FromContext(identity.NewContext(context.Background(), want))
	if !ok || got.Site != want.Site || got.Person != want.Person || !got.Has(identity.Dispatcher) {
		t.Errorf("got %+v, %v", got, ok)
	}
}
