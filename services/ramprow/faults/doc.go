// Package faults lets a workshop of real processes live through real faults: the
// roles, some of them several times, over a broker and a Redis outside, with
// callers who take cars from intake to payment by the same calls as everybody.
// Meanwhile processes are killed, stopped and restarted, and Redis is emptied, at
// moments that a seed draws, counted in acknowledged commands. Afterwards every
// acknowledged command is looked for in the logs, every rule of
// simulate/invariants is checked, and the read models are compared with a fold of
// the logs.
//
// A seed gives the same schedule again, and the same people with the same
// intentions. It does not give the same interleaving: these are real processes.
package faults
