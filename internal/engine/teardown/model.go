package teardown

import "ramprow/internal/engine/teardown/effort"

// Model is one car: conditions on the vehicle are decided before it is built. A piece that the car
// does not have is absent from the model, and a blocking group in which an absent piece was an
// alternative is left out, because what is not there is not in the way.
type Model struct {
	Pieces     []Piece
	Operations []Operation
	States     []State
	// Setup says what it costs to change from one operation to an unlike one.
	Setup Setup
}

// Setup is the expected minutes lost between two operations that differ.
type Setup struct {
	PositionChange float64
	ToolChange     float64
}

// Fate is what becomes of a piece once it is off.
type Fate int

// The fates of a piece.
const (
	Keep Fate = iota
	Renew
	Inspect
)

// Piece is whatever comes off or is reached.
type Piece struct {
	ID    string
	Title string
	// Count is how many pieces go by this name; 0 means 1.
	Count     int
	Fate      Fate
	BlockedBy []Blocking
	// RenewedBy is what replaces it when its fate is Renew.
	RenewedBy []PartUse
	// DebrisRisk marks a piece whose fragments must be counted if it breaks up.
	DebrisRisk bool
}

// BlockingKind tells an obstacle from a piece that would be damaged.
type BlockingKind int

// The kinds of blocking.
const (
	InTheWay BlockingKind = iota
	Breaks
)

// Blocking keeps a piece from coming off until any one of the named pieces is off. It counts for
// taking off by any operation, and not for reaching. Pieces that come off in the same operation do
// not block one another.
type Blocking struct {
	AnyOf []string
	Kind  BlockingKind
}

// PartUse is how many units of a part something takes.
type PartUse struct {
	Part     string
	Quantity int64
}

// Resources is what a step asks of the workshop.
type Resources struct {
	Skills   []string
	Tools    []string
	Hazards  []string
	BayKinds []string
	// Position is from where the work is done; empty where it does not matter.
	Position string
}

// Operation takes pieces off together or reaches them through a gap. Several operations that take
// off or reach the same piece are alternative ways.
type Operation struct {
	ID    string
	Title string
	// TakesOff come off together, as one assembly.
	TakesOff []string
	// Reaches become workable although they stay on.
	Reaches []string
	// NeedsOff and NeedsReached are prerequisites of this way only.
	NeedsOff     []string
	NeedsReached []string
	// NeedsStates and ForbidsStates hold for the refit as well.
	NeedsStates   []string
	ForbidsStates []string
	Effort        effort.ThreePoint
	Refit         effort.ThreePoint
	Resources
	// ByTheBook is the maker's own way; a short cut has false and says its Risk.
	ByTheBook bool
	Risk      string
	// Joints are undone by it and tightened in its refit.
	Joints []string
	// Renews is what the refit uses up.
	Renews []PartUse
}

// State is a condition of the car, as in battery isolated.
type State struct {
	ID    string
	Title string
	Enter effort.ThreePoint
	Leave effort.ThreePoint
	Resources
	// ToolsLeftOn stay on the car while the state lasts.
	ToolsLeftOn []string
	NeedsStates []string
	NeedsOff    []string
}

// TaskKind tells looking from mending.
type TaskKind int

// The kinds of task.
const (
	Inspection TaskKind = iota
	Repair
)

// Task is the work for which the car is opened: a test, an inspection or a repair.
type Task struct {
	ID    string
	Title string
	Kind  TaskKind
	// Targets must be off or reached; MustBeOff must be off.
	Targets       []string
	MustBeOff     []string
	NeedsStates   []string
	ForbidsStates []string
	Effort        effort.ThreePoint
	Resources
	Parts []PartUse
}

// CarState is the car as it stands.
type CarState struct {
	// Done are the operations whose pieces are off or reached now, in the order in which they were
	// done. Planning keeps them and closes them last.
	Done []string
	// Off and Reached name pieces that are open although no operation of Done explains it, because
	// somebody went another way.
	Off     []string
	Reached []string
	// States are held now, in the order in which they were entered.
	States []string
}
