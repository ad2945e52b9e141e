package workshop

import (
	"time"

	"ramprow/internal/engine/planner"
)

// Defaults of Problem.
const (
	DefaultGrid    = 5 * time.Minute
	DefaultHorizon = 28 * 24 * time.Hour
)

// Problem is everything that a plan depends on.
type Problem struct {
	// Now is the present: nothing is put before it, and what has started stays.
	Now time.Time
	// Zone is where shifts are read; nil means UTC.
	Zone *time.Location
	// Grid is the tick: starts are multiples of it after Now. Times that do not fall
	// on it are rounded so that the plan stays possible. Zero: DefaultGrid.
	Grid time.Duration
	// Horizon is how far after Now work may end; zero: DefaultHorizon.
	Horizon time.Duration
	Bays    []planner.Bay
	People  []planner.Person
	Tools   []planner.Tool
	Jobs    []Job
}

// Job is one car's work. Its bay is held from its first start to its last end.
type Job struct {
	Name string
	// BayKinds in which it can be done; empty: any.
	BayKinds []string
	// Release is the earliest start, Due when it is wanted; zero: at any time, no wish.
	Release, Due time.Time
	// Priority weighs lateness, 0 to planner.MaxPriority.
	Priority int
	// Ways are the alternatives; exactly one is taken.
	Ways []Way
	// Bay and Start pin the job; empty: open.
	Bay   string
	Start time.Time
	// Opened freezes the bay: it has been held since then.
	Opened *Opened
	// Last is where the job lay in the last plan: a start for the search, and what changes are counted against.
	Last *Placement
}

// Opened says since when and where a car stands opened, and by which way.
type Opened struct {
	Since time.Time
	Bay   string
	Way   int
}

// Way is one way to do a job.
type Way struct {
	Operations []Operation
	Lags       []Lag
}

// Operation is a piece of work that one person does, or nobody.
type Operation struct {
	Name string
	// Effort is the working time that it takes.
	Effort time.Duration
	// Skills that its person must have until its end.
	Skills []string
	// ToolTypes, one piece of each from start to end.
	ToolTypes []string
	// Unattended work needs no person and knows no calendar.
	Unattended bool
	// Whole work is not left for a break or a night.
	Whole bool
	// Person and Start pin it; empty: open.
	Person string
	Start  time.Time
	// Started freezes it: Effort is what is left of it from Now on.
	Started *Started
}

// Started says who has been at an operation since when, with which tools.
type Started struct {
	At     time.Time
	Person string
	Tools  []string
}

// Lag is the time from the end of one operation to the start of another, by their
// numbers in the way. With Min zero and no Max it is plain precedence.
type Lag struct {
	From, To int
	Min      time.Duration
	// Max is nil if there is no most.
	Max *time.Duration
}

// Plan is where everything goes.
type Plan struct {
	Placements []Placement
	// Unplaced jobs have no place within the horizon.
	Unplaced []string
	Cost     Cost
	// Bound is what no plan can cost less than; Optimal tells that this one costs no more.
	Bound   int64
	Optimal bool
}

// Placement is one job's way, bay and operations.
type Placement struct {
	Job, Bay   string
	Way        int
	When       planner.Interval
	Operations []Assignment
}

// Assignment is who does an operation when; Person is empty if nobody is needed.
type Assignment struct {
	Person string
	Tools  []string
	When   planner.Interval
}
