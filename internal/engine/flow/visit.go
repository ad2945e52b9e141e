package flow

import (
	"slices"
	"strings"
	"time"
)

// Phase is how far a job is, as far as that follows from the job alone.
type Phase uint8

// The phases in their order.
const (
	Diagnosis Phase = iota // nobody has confirmed what is broken
	Repair                 // there is a plan
	Proving                // every step is done; to be driven
	Billing                // driven and found well; to be billed
)

// Lack is what keeps a job from being worked at.
type Lack uint8

// Lacks may be combined.
const (
	LacksAuthority Lack = 1 << iota
	LacksParts
)

// Mark says how a job stands from a moment on.
type Mark struct {
	At     int64 // Unix time in nanoseconds
	Phase  Phase
	Lacks  Lack
	Rework bool   // what is done now was thought finished before
	Bay    string // where the car stands opened; empty: on the yard
	Hands  string // who works at it now, in order, with a space between
}

func (m Mark) hands() []string { return strings.Fields(m.Hands) }

// Needs are what a job can be worked with.
type Needs struct {
	BayKinds []string // empty: any bay
	Skills   []string // of the person
}

// Visit is one car's stay. Marks are only ever added to.
type Visit struct {
	Number uint64 // of the job
	// Marks begin with the car's arrival and are in order; none: it is not here yet.
	Marks     []Mark
	Ended     int64 // Unix time in nanoseconds; 0: it is still here
	Cancelled bool
	Needs     Needs
	// Quoted is the work that was sold, Taken the hands-on time; known when billed.
	Quoted, Taken time.Duration
	// Promised is what the customer was told last, and Finished when the last step
	// was done; 0: neither.
	Promised, Finished int64
	// Tightened counts joints that were proved, and FirstTime those without a reading
	// that failed and without having been opened again.
	Tightened, FirstTime uint32
}

// Note adds a mark where something changed; never before the last one.
func (v *Visit) Note(m Mark) {
	if last := len(v.Marks) - 1; last >= 0 {
		m.At = max(m.At, v.Marks[last].At)
		before := v.Marks[last]
		before.At = m.At
		if before == m {
			return
		}
	}
	v.Marks = append(v.Marks, m)
}

// End closes the stay; never before its last mark.
func (v *Visit) End(at int64, cancelled bool) {
	if last := len(v.Marks) - 1; last >= 0 {
		at = max(at, v.Marks[last].At)
	}
	v.Ended, v.Cancelled = at, cancelled
}

// Last is the newest mark; the zero mark before the arrival.
func (v *Visit) Last() Mark {
	if len(v.Marks) == 0 {
		return Mark{}
	}
	return v.Marks[len(v.Marks)-1]
}

// arrived gives when the stay began.
func (v *Visit) arrived() (int64, bool) {
	if len(v.Marks) == 0 {
		return 0, false
	}
	return v.Marks[0].At, true
}

// until is when the stay ended, or now.
func (v *Visit) until(now int64) int64 {
	if v.Ended == 0 || v.Ended > now {
		return now
	}
	return v.Ended
}

// Hands writes who works, in order and each once.
func Hands(people []string) string {
	sorted := slices.Sorted(slices.Values(people))
	return strings.Join(slices.Compact(sorted), " ")
}
