// Package planner gives bays, technicians and special tools to jobs.
//
//	problem ──> started and pinned work first
//	        ──> what is booked and still fits stays where it is
//	        ──> the rest by priority into the cheapest gap
//	        ──> or: everything shifted to the right, if that costs less
//	        ──> bounded improvement: take late work and what stands in its way out, put it back better
//	        ──> plan: a placement with its reason, or the facts that make it impossible
//
// A car, once opened, cannot leave its bay: a placement holds its bay, its
// technician and its tools from opening to closing without a break. Work goes on
// only while the technician works, the bay is open and the tools can be used, so a
// placement may span nights and absences.
//
// The method is serial schedule generation with insertion (Kolisch and Hartmann,
// 2006, describe the family); it is deterministic. The package is pure: it reads no
// clock and draws no random numbers. All intervals are half-open, [start, end).
package planner
