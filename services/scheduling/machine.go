package scheduling

import (
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/statecode"
)

// Service is the name of the service's log.
const Service = "scheduling"

// The services whose events cause reactions here.
const (
	jobService       = "job"
	inventoryService = "inventory"
)

// Machine is scheduling as a state machine over its site's log.
func Machine() sitelog.Machine[*State] {
	return sitelog.Machine[*State]{
		Service:  Service,
		New:      newState,
		Evolve:   evolve,
		Follows:  []string{jobService, inventoryService},
		React:    react,
		Due:      due,
		Fire:     fire,
		Snapshot: snapshot,
		Restore:  restore,
		Schema:   statecode.Schema[kept](foldVersion),
	}
}
