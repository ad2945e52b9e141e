// Package invariants says what must hold of a site's logs, whatever happened
// while they were written. It reads nothing but the logs and the answers that
// callers got, and computes everything anew: no service, no engine and no part
// of the writer is asked.
//
//	chain      commits are numbered without a gap and hold each other's hash
//	once       what was acknowledged is in the log once, and repeats say the same
//	followers  every event that must be followed up was handled or parked once, in order
//	shelf      what is on hand is the sum of movements; nothing is promised twice
//	board      no bay, person or tool in two places; begun work stays where it is
//	invoice    numbers without a gap, and every condition was met at that moment
package invariants
