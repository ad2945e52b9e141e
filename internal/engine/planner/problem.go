package planner

import "time"

// DefaultHorizon is how far ahead a place is looked for when Problem leaves it open.
const DefaultHorizon = 120 * 24 * time.Hour

// DefaultTries bounds the improvement when Problem leaves it open.
const DefaultTries = 40

// Problem is everything that a plan depends on.
type Problem struct {
	// Now is the present: nothing is put before it, and started work stays.
	Now time.Time
	// Zone is where shifts are read; nil means UTC.
	Zone *time.Location
	Bays []Bay
	// People, Tools and Jobs, like Bays, need unique names.
	People []Person
	Tools  []Tool
	Jobs   []Job
	// Grid rounds starts up to a multiple of it since the Unix epoch; zero: exact.
	Grid time.Duration
	// Grace is how long a booked start may have passed before it must move.
	Grace time.Duration
	// Horizon is how far after Now work may end; zero: DefaultHorizon.
	Horizon time.Duration
	// Tries bounds the improvement steps; zero: DefaultTries, negative: none.
	Tries int
}

// Interval is half-open: [Start, End).
type Interval struct{ Start, End time.Time }

// Shift is when a resource can be used on a weekday, in minutes after midnight,
// [From, To).
type Shift struct {
	Weekday  time.Weekday
	From, To int
}

// Block is a time at which a resource cannot be used, and why.
type Block struct {
	When Interval
	Why  string
}

// Calendar tells when a resource can be used. Without shifts: always but for what is closed or blocked.
type Calendar struct {
	Shifts []Shift
	// Rosters hold instead of the shifts on the days for which they are valid.
	Rosters []Roster
	// Closed are times at which nobody works, as on a holiday: work pauses as over a night,
	// and what is held stays held.
	Closed []Interval
	// Extra are times beyond the shifts, also where it is closed: overtime. A block closes
	// them all the same.
	Extra  []Interval
	Blocks []Block
}

// Roster is a cycle of weeks, valid from one day to another. Where two are valid, the
// one that began later holds.
type Roster struct {
	// From is its first day, Until its last; zero: without end.
	From, Until Day
	// Weeks are the shifts of each week of the cycle, Monday to Sunday. The first is the
	// week in which From lies; after the last comes the first again.
	Weeks [][]Shift
}

// Day counts days of the calendar on the wall from 1 January 1970, which is zero.
type Day int

// DayOf gives the day of a date.
func DayOf(year int, month time.Month, day int) Day {
	return Day(time.Date(year, month, day, 0, 0, 0, 0, time.UTC).Unix() / secondsADay)
}

const secondsADay = 24 * 60 * 60

// Bay is a place for one car. A placement never spans a block of its bay.
type Bay struct {
	Name, Kind string
	Calendar   Calendar
}

// Person does the work of one car at a time. A block of a person interrupts his
// work but does not forbid it.
type Person struct {
	Name     string
	Skills   []Skill
	Calendar Calendar
}

// Skill is a skill or licence; a zero Expires is without end.
type Skill struct {
	Name    string
	Expires time.Time
}

// Tool is one piece of a special tool. A placement never spans a block of its tools.
type Tool struct {
	Name, Type string
	Calendar   Calendar
}

// Job is one car's work.
type Job struct {
	Name string
	// Effort is the hands-on time that the placement must have room for.
	Effort time.Duration
	// BayKinds in which it can be done; empty: any.
	BayKinds []string
	// Skills that the one technician must have until the end.
	Skills []string
	// ToolTypes, one piece of each from opening to closing.
	ToolTypes []string
	// Release is the earliest start, with the reason in words, as in 'the car arrives'.
	Release    time.Time
	ReleaseWhy string
	// Due is when the customer wants it; zero: no wish.
	Due time.Time
	// Priority weighs lateness; 0 is the ordinary job, MaxPriority the highest.
	Priority int
	// Current is where it lies now, if anywhere. It stays there while it fits and
	// nothing much better is found.
	Current *Current
	// Pinned keeps it at Current; it moves only if that has become impossible.
	Pinned bool
	// Wish is where it shall go now; what stands in the way and may move, moves.
	Wish *Wish
	// Started freezes it: bay, technician, tools and start stay.
	Started *Started
}

// MaxPriority is the highest priority that still makes a difference.
const MaxPriority = 9

// Current is a placement of an earlier plan.
type Current struct {
	Bay, Person string
	Tools       []string
	When        Interval
}

// Wish names a bay, a person or a start; the empty ones are open.
type Wish struct {
	Bay, Person string
	Start       time.Time
	// NotBefore is the earliest start where Start is open; zero: none.
	NotBefore time.Time
}

// Started is work that has begun. An empty Bay or Person means that nobody has
// said which: a free one is then assumed, if there is any.
type Started struct {
	At          time.Time
	Bay, Person string
	Tools       []string
	// Since is when Left was known to be left; Left is the hands-on time from then on.
	Since time.Time
	Left  time.Duration
	// PartsAt stops the work, after PartsAfter more of it, until the parts are there;
	// zero: nothing is missing.
	PartsAt    time.Time
	PartsAfter time.Duration
}

// Plan is where everything goes.
type Plan struct {
	// Placements and Unplaced are in the order of the problem's jobs.
	Placements []Placement
	Unplaced   []*Impossible
	// Cost is what the plan was chosen by; lower is better.
	Cost Cost
}

// Placement is one job's bay, technician and tools.
type Placement struct {
	Job, Bay, Person string
	Tools            []string
	When             Interval
	// Kept tells that nothing has changed against Job.Current or Job.Started.
	Kept bool
	// Why says in words why it lies there; empty if Kept.
	Why string
	// Waited are the things it could not start before, the last one deciding.
	Waited []Cause
	// Next is the best other choice of bay and person, if there was one.
	Next *Alternative
}

// Alternative is a choice that was considered and left.
type Alternative struct {
	Bay, Person string
	When        Interval
}
