package planner

import (
	"fmt"
	"time"
)

// CauseKind is what sort of thing was waited for.
type CauseKind int

// The kinds of causes.
const (
	// CauseClosed: a calendar is closed.
	CauseClosed CauseKind = iota + 1
	// CauseBlocked: a bay or a tool is blocked.
	CauseBlocked
	// CauseHeld: another job holds the resource.
	CauseHeld
)

// Cause is one thing that a placement could not start before.
type Cause struct {
	Kind CauseKind
	// Resource, or several of them, as in 'bays/one, people/anna'.
	Resource string
	// Job that holds the resource, for CauseHeld.
	Job string
	// Why the resource is blocked, for CauseBlocked.
	Why   string
	Until time.Time
}

// String says it in words.
func (c Cause) String() string {
	switch c.Kind {
	case CauseHeld:
		return fmt.Sprintf("%s held by %s until %s", c.Resource, c.Job, c.Until.Format(clockLayout))
	case CauseBlocked:
		return fmt.Sprintf("%s is away until %s (%s)", c.Resource, c.Until.Format(clockLayout), c.Why)
	case CauseClosed:
		if c.Resource == "" {
			return fmt.Sprintf("bay, person and tools are there together from %s", c.Until.Format(clockLayout))
		}
		return fmt.Sprintf("%s is there from %s", c.Resource, c.Until.Format(clockLayout))
	default:
		return fmt.Sprintf("cause %d", c.Kind)
	}
}

// clockLayout is how moments are said to people.
const clockLayout = "Mon 2 Jan 15:04"

func (s *shop) clock(i instant) string { return i.time(s.zone).Format(clockLayout) }

// explain says why a slot lies where it lies.
func (s *shop) explain(job int, sl *slot) string {
	j := s.jobs[job]
	var text string
	switch n := len(sl.waited); {
	case n > 0:
		text = "earliest place: " + sl.waited[n-1].String()
	case at(j.Release) >= s.now && !j.Release.IsZero():
		text = fmt.Sprintf("earliest place: not before %s, when %s", s.clock(at(j.Release)), orElse(j.ReleaseWhy, "it may start"))
	default:
		text = "a bay, a person and the tools are free at once"
	}
	return text
}

// String says it in words.
func (a *Alternative) String() string {
	return fmt.Sprintf("%s with %s would be done %s", a.Bay, a.Person, a.When.End.Format(clockLayout))
}

func orElse(text, otherwise string) string {
	if text == "" {
		return otherwise
	}
	return text
}

// plan reads the board out.
func (b *board) plan() Plan {
	s := b.shop
	p := Plan{Cost: b.cost()}
	for job, sl := range b.slots {
		if sl == nil {
			p.Unplaced = append(p.Unplaced, b.impossible(job))
			continue
		}
		placed := Placement{
			Job: s.jobs[job].Name, Tools: s.toolNames(sl.choice.tools), When: sl.span.interval(s.zone),
			Kept: sl.kept && !s.jobs[job].filled(sl), Why: sl.why, Waited: sl.waited,
		}
		if sl.choice.bay != none {
			placed.Bay = s.bays[sl.choice.bay].name
		}
		if sl.choice.person != none {
			placed.Person = s.people[sl.choice.person].name
		}
		if placed.Why == "" && !placed.Kept {
			placed.Why = s.explain(job, sl)
			if placed.Next = b.alternative(job); placed.Next != nil {
				placed.Why += "; " + placed.Next.String()
			}
		}
		p.Placements = append(p.Placements, placed)
	}
	return p
}
