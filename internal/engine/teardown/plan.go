package teardown

import "ramprow/internal/engine/teardown/effort"

// Phase is the stage of the work to which a step belongs.
type Phase int

// The phases, in their order.
const (
	PhaseOpen Phase = iota
	PhaseInspect
	PhaseRepair
	PhaseClose
)

// StepKind is what a step does.
type StepKind int

// The kinds of step.
const (
	StepOpen StepKind = iota
	StepEnterState
	StepTask
	StepRefit
	StepLeaveState
)

// Step is one thing to do.
type Step struct {
	Kind  StepKind
	Phase Phase
	// ID is the operation's, the task's or the state's.
	ID    string
	Title string
	// Reason says in one sentence why the step is in the plan.
	Reason string
	Effort effort.ThreePoint
	Resources
	// After are the indexes of the steps that must be done before this one.
	After []int
	// TakesOff and Reaches are pieces opened by a StepOpen or closed by a StepRefit.
	TakesOff []string
	Reaches  []string
	// Joints are tightened in this step.
	Joints []string
	// Renews is what this step uses up.
	Renews []PartUse
	// ToolsOn and ToolsOff are special tools that are put on the car or come off it.
	ToolsOn  []string
	ToolsOff []string
	// NeedsStates are the states in which the step is done.
	NeedsStates []string
	Risk        string
}

// Estimate is a duration in minutes as a distribution.
type Estimate struct {
	Mean float64
	P50  float64
	P80  float64
}

// Plan is the whole way: open, work, close.
type Plan struct {
	Steps []Step
	// Chosen are the operations that are still to be done, in order.
	Chosen []string
	// Cost is the expected minutes of the operations and states that were chosen to reach the
	// targets, there and back, without tasks and set-up; Bound is a proved lower bound on it, and
	// Proved says that they are equal.
	Cost   float64
	Bound  float64
	Proved bool
	// Nodes is how many subproblems the proof took.
	Nodes int
	// SetupMinutes is the expected loss from changes of position and tools.
	SetupMinutes float64
	Total        Estimate
	// ByPhase holds an estimate for each phase, indexed by Phase.
	ByPhase [4]Estimate
}

// Options steer planning.
type Options struct {
	// OnlyByTheBook leaves every short cut out.
	OnlyByTheBook bool
	// Without names operations that cannot be done here, as for want of a tool.
	Without []string
	// Through names operations that must be done, whatever they cost.
	Through []string
	// MaxNodes bounds the search; 0 means DefaultMaxNodes. When it is reached, the best plan so
	// far is given with its gap.
	MaxNodes int
	// Seed and Draws steer the estimate of P50 and P80; Draws 0 means DefaultDraws.
	Seed  uint64
	Draws int
	// MeansOnly leaves percentiles out, which take most of the time of planning.
	MeansOnly bool
	// Correlation of the logarithms of any two steps' times, through the technician and the
	// condition of the car, in [0, 1].
	Correlation float64
}

// Defaults of Options.
const (
	DefaultMaxNodes = 20_000
	// DefaultDraws puts P80 within about half a per cent, which is far below what estimates are worth.
	DefaultDraws = 500
)
