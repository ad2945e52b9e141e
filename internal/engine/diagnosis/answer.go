package diagnosis

// Diagnosis is what the evidence says.
type Diagnosis struct {
	// Causes by falling probability, ties by ID.
	Causes []Ranked
	// None is the probability that none of the known causes is present.
	None float64
	// Single is the probability that exactly one is.
	Single float64
	// Likelihood is the probability of the evidence before it was seen.
	Likelihood float64
}

// Ranked is a cause with the probability that it is present; several may be.
type Ranked struct {
	Cause       string
	Title       string
	Probability float64
	// For and Against are the observations that raise and lower it, the strongest first.
	For     []Weight
	Against []Weight
}

// Weight is what one observation does to a cause in view of all others.
type Weight struct {
	Of      string
	Title   string
	Present bool
	// Factor is the odds of the cause with the observation over the odds without it.
	Factor float64
}

// ActionKind is what can be done next.
type ActionKind int

// The kinds of action.
const (
	ActTest ActionKind = iota
	ActOpen
	ActRepair
	ActHandOver
)

// Action is something to do next.
type Action struct {
	Kind ActionKind
	// ID is the test's, the opening's or, for a repair, the cause's.
	ID    string
	Title string
	// Minutes of the action itself, and of the openings that it needs first.
	Minutes     float64
	OpenMinutes float64
	Opens       []string
	// ExpectedMinutes from now to a verified repair when this is done first and the best known
	// way is followed after it. The optimum after this action is not below ExpectedAtLeast.
	ExpectedMinutes float64
	ExpectedAtLeast float64
	// Success is the probability that a repair mends the car; Positive that a test is positive.
	Success  float64
	Positive float64
	Reason   string
}

// Advice ranks what can be done next.
type Advice struct {
	// Actions by rising expected minutes.
	Actions []Action
	// ExpectedMinutes to a verified repair; the optimum is not below ExpectedAtLeast. Exact says
	// that they are equal.
	ExpectedMinutes float64
	ExpectedAtLeast float64
	Exact           bool
	// StopTesting says that no test, open or not, is worth its time any more.
	StopTesting bool
	// Reason says in one sentence why the first action is first.
	Reason string
}
