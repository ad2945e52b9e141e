package diagnosis

// Model is what the workshop knows of the faults of one car: what can be broken, what that brings
// about, what tells causes apart and what mends them.
type Model struct {
	Causes   []Cause
	Findings []Finding
	Tests    []Test
	Openings []Opening
	// HandOverMinutes is the cost of passing the car on to somebody who surely mends it; 0 means
	// that nobody is there.
	HandOverMinutes float64
}

// Cause is something that can be broken.
type Cause struct {
	ID    string
	Title string
	// Prior is the probability in (0, 1) that a car like this one comes in with it.
	Prior  float64
	Repair Repair
}

// Repair mends a cause.
type Repair struct {
	Title string
	// Minutes of the work itself and of verifying that the fault is gone, once it is open.
	Minutes float64
	// CostMinorUnits is the price of its parts, for information; ranking is by minutes.
	CostMinorUnits int64
	// Behind is the opening that gives access; empty where nothing need be opened.
	Behind string
}

// FindingKind tells a control unit's word from a person's.
type FindingKind int

// The kinds of finding.
const (
	Code FindingKind = iota
	Symptom
)

// Finding is a trouble code or a symptom, a leaky noisy-OR of its causes: it is absent only when
// the leak and every present cause fail to bring it about, independently.
type Finding struct {
	ID    string
	Title string
	Kind  FindingKind
	// Leak is the probability in [0, 1) of it with none of the causes.
	Leak float64
	// Effects give for a cause the probability that it brings the finding about by itself.
	Effects []Effect
}

// Effect ties a cause to a finding or to a test's result.
type Effect struct {
	Cause       string
	Probability float64
}

// Test tells causes apart.
type Test struct {
	ID    string
	Title string
	// Minutes of the test itself, once it is open.
	Minutes float64
	// Positive gives the sensitivity for a cause: the probability of a positive result when it is
	// the only one present. It may not be less than FalsePositive.
	Positive []Effect
	// FalsePositive is 1 - specificity.
	FalsePositive float64
	// Behind is the opening that gives access; empty where it is done from outside.
	Behind string
}

// Opening is a cluster of actions that share a strip-down. Openings form a forest: to open one,
// what it lies inside must be open.
type Opening struct {
	ID    string
	Title string
	// Minutes to open it and to close it again, beyond what it lies inside.
	Minutes float64
	// Inside is the enclosing opening; empty at the outside.
	Inside string
}

// Observation is one thing seen: a finding present or absent, a test positive or negative. An
// observation is taken back by leaving it out.
type Observation struct {
	// Of is the finding's or the test's ID.
	Of      string
	Present bool
	// Weight in (0, 1] is how far the report speaks of the car as it is now; 0 means 1. With
	// weight w its likelihood is a mixture: with probability w the report is about the present,
	// else it says nothing. A code that is only stored weighs less than one that failed in this
	// driving cycle.
	Weight float64
}

// Evidence is all that is known of the car so far.
type Evidence struct {
	Observations []Observation
	// Excluded causes are known to be absent, as seen in order or repaired.
	Excluded []string
	// Confirmed causes are known to be present.
	Confirmed []string
	// Opened names the openings that are open now.
	Opened []string
}
