package identity

import (
	"fmt"
	"strconv"
	"strings"
)

// Calendar is the role of an address at which a calendar program reads: it belongs to one bay or person, and to no
// human being who could act.
const Calendar Role = "calendar"

// ForCalendar is who reads the calendar of a resource, as in people/anna. The address is good for as long as the
// calendar was renewed so many times.
func ForCalendar(site, resource string, renewed uint32) Identity {
	return Identity{Site: site, Person: fmt.Sprintf("%s.%d", resource, renewed), Roles: []Role{Calendar}}
}

// OfCalendar gives whose calendar an identity may read, and false of a person.
func (id Identity) OfCalendar() (resource string, renewed uint32, ok bool) {
	if len(id.Roles) != 1 || id.Roles[0] != Calendar {
		return "", 0, false
	}
	resource, number, _ := strings.Cut(id.Person, ".")
	n, err := strconv.ParseUint(number, 10, 32)
	return resource, uint32(n), err == nil
}
