// Package workshop plans a workshop operation by operation: the full problem.
//
//	problem ──> names to numbers, calendars to ticks of a grid
//	        ──> each job in turn: way, bay, and every operation with its person and tools
//	        ──> operations moved to the right, so that the bay is held no longer than needed
//	        ──> take some jobs out, put them back in another order, keep what pays (anytime)
//	        ──> small problems: an exact search, with the bound it proves
//
// A job holds one bay from the start of its first operation to the end of its last,
// without a break, while technicians come and go. Between two operations there may
// be a least and a most time. The work of an operation goes on while its person
// works and the bay and the tools can be used; it pauses in between, unless it must
// be done in one go. An operation that needs nobody (something cures, drains or
// cools) runs on through the night.
//
// Taking out and putting back is the large neighbourhood search of Shaw (1998), here
// with the acceptance of simulated annealing. The package is pure: no clock and no
// randomness but from the seed. All intervals are half-open, [start, end).
package workshop
