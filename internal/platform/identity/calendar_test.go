package identity_test

import (
	"testing"

	"ramprow/internal/platform/identity"
)

func TestAnAddressOfACalendarIsNobodyWhoCouldAct(t *testing.T) {
	id := identity.ForCalendar("north", "people/anna", 3)
	if err := id.Validate(); err != nil {
		t.Fatal(err)
	}
	if resource, renewed, ok := id.OfCalendar(); resource != "people/anna" || renewed != 3 || !ok {
		t.Errorf("%s %d %v", resource, renewed, ok)
	}
	for _, role := range identity.Roles() {
		if id.Has(role) {
			t.Errorf("it acts as %s", role)
		}
	}
	for name, other := range map[string]identity.Identity{
		"a person":               {Site: "north", Person: "people/anna.3", Roles: []identity.Role{identity.Technician}},
		"an owner":               {Site: "north", Person: "people/anna.3", Roles: []identity.Role{identity.Owner}},
		"one who is both":        {Site: "north", Person: "people/anna.3", Roles: []identity.Role{identity.Calendar, identity.Technician}},
		"one without its number": {Site: "north", Person: "people/anna", Roles: []identity.Role{identity.Calendar}},
		"a number too large":     {Site: "north", Person: "people/anna.4294967296", Roles: []identity.Role{identity.Calendar}},
	} {
		if _, _, ok := other.OfCalendar(); ok {
			t.Errorf("%s passes for an address", name)
		}
	}
	both := identity.Identity{Site: "north", Person: "people/anna.3", Roles: []identity.Role{identity.Calendar, identity.Technician}}
	if both.Validate() == nil {
		t.Error("an address that could also act is accepted")
	}
}
