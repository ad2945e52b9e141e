package bayesnet

import "fmt"

// DefaultLimit is how much memory the tables of one answer may take, in bytes.
const DefaultLimit = 1 << 30

// maxWork bounds the table entries that one answer visits: minutes of one processor.
const maxWork = 1 << 34

// Effort is what an exact answer takes, known before it is computed.
type Effort struct {
	// Variables that bear on the question; the others are left out.
	Variables int
	// Width of the elimination order that was found: its largest table has Width+1 variables.
	Width int
	// Bound is proved: no order has a smaller width. Where it equals Width, that is the treewidth of what is asked.
	Bound int
	// Largest table that is summed, and all of them, in entries.
	Largest, Work float64
	// Bytes of all tables that are held at once.
	Bytes float64
}

// TooLargeError says that an exact answer needs more than is allowed.
type TooLargeError struct {
	Effort
	Limit float64 // bytes
}

func (e *TooLargeError) Error() string {
	if e.Width == 0 {
		return fmt.Sprintf("the table of one variable alone has %.3g entries; at most %d are read", e.Largest, int(maxConditional))
	}
	return fmt.Sprintf("an exact answer needs width %d (no order of elimination found is narrower; at least %d is proved): "+
		"%.3g MB of tables and %.3g entries to visit, where %.3g MB and %.3g entries are allowed; give more evidence or ask for fewer variables",
		e.Width, e.Bound, e.Bytes/1e6, e.Work, e.Limit/1e6, float64(maxWork))
}
