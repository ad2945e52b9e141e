package planner

import (
	"fmt"
	"slices"
	"strings"
)

// FactKind is a stable name for one sort of fact.
type FactKind string

// The facts that can stand in the way.
const (
	FactNoBay       FactKind = "NO_BAY"       // no bay of the kinds, or the wished one does not suit
	FactNoPerson    FactKind = "NO_PERSON"    // nobody has the skills, or the wished one has not
	FactNoTool      FactKind = "NO_TOOL"      // no piece of a tool type
	FactExpired     FactKind = "LICENCE_ENDS" // the licence ends before the work would
	FactPast        FactKind = "PAST"         // the wished time has passed
	FactNotReleased FactKind = "NOT_RELEASED" // the car or the parts come later
	FactClosed      FactKind = "NOT_THERE"    // a calendar is closed at the wished time
	FactBlocked     FactKind = "BLOCKED"      // a bay or a tool is away at the wished time
	FactHeld        FactKind = "HELD"         // started or pinned work is there
	FactNoRoom      FactKind = "NO_ROOM"      // nothing fits within the horizon
)

// Fact is one thing that stands in the way.
type Fact struct {
	Kind FactKind
	// Resource and Job that it is about, where there are such.
	Resource, Job string
	Text          string
}

// Impossible says why a job has no place. While all of the facts hold there is none:
// every choice is forbidden by at least one of them, and no smaller set does that (of
// choices with very many facts, no set that leaves one out). A choice may have more
// against it than the one fact that is named.
type Impossible struct { //nolint:errname // planner.Impossible is how it is spoken of
	Job   string
	Facts []Fact
	// Lift is everything that stands against the choice with least against it: without
	// all of these there is room, unless a licence, a bay or a person is missing
	// altogether, when it cannot be known what else would be in the way.
	Lift []Fact
}

// Error implements error.
func (e *Impossible) Error() string {
	texts := make([]string, len(e.Facts))
	for i, f := range e.Facts {
		texts[i] = f.Text
	}
	return fmt.Sprintf("%s cannot be placed: %s", e.Job, strings.Join(texts, "; "))
}

// impossible finds the facts for a job that has no place on the board.
func (b *board) impossible(job int) *Impossible {
	out := &Impossible{Job: b.shop.jobs[job].Name}
	if out.Facts = b.shop.unsuited(job); len(out.Facts) > 0 {
		out.Lift = out.Facts
		return out
	}
	var perChoice [][]Fact
	for i := range b.shop.choices[job] {
		c := &b.shop.choices[job][i]
		if w := b.shop.jobs[job].Wish; w == nil || b.shop.grants(*w, c) {
			for _, v := range b.variants(job, *c) {
				perChoice = append(perChoice, b.against(job, v))
			}
		}
	}
	out.Facts = cover(perChoice)
	for _, facts := range perChoice {
		if out.Lift == nil || len(facts) < len(out.Lift) {
			out.Lift = facts
		}
	}
	return out
}

// unsuited gives what forbids a job at any time.
func (s *shop) unsuited(job int) []Fact {
	j := s.jobs[job]
	w := Wish{}
	if j.Wish != nil {
		w = *j.Wish
	}
	var facts []Fact
	facts = append(facts, s.noBay(j, w)...)
	facts = append(facts, s.noPerson(j, w)...)
	for _, kind := range j.ToolTypes {
		if !slices.ContainsFunc(s.problem.Tools, func(t Tool) bool { return t.Type == kind }) {
			facts = append(facts, Fact{Kind: FactNoTool, Resource: kind, Text: "there is no tool " + kind})
		}
	}
	if len(facts) == 0 && len(s.choices[job]) == 0 {
		facts = append(facts, Fact{Kind: FactNoTool, Text: "there are not enough pieces of " + strings.Join(j.ToolTypes, ", ")})
	}
	return facts
}

func (s *shop) noBay(j Job, w Wish) []Fact {
	kinds := strings.Join(j.BayKinds, " or ")
	if w.Bay != "" {
		i := slices.IndexFunc(s.problem.Bays, func(b Bay) bool { return b.Name == w.Bay })
		switch {
		case i < 0:
			return []Fact{{Kind: FactNoBay, Resource: w.Bay, Text: "there is no bay " + w.Bay}}
		case !s.problem.Bays[i].suits(j):
			return []Fact{{
				Kind: FactNoBay, Resource: w.Bay,
				Text: fmt.Sprintf("%s is %s, and the work needs %s", w.Bay, s.problem.Bays[i].Kind, kinds),
			}}
		}
		return nil
	}
	if slices.ContainsFunc(s.problem.Bays, func(b Bay) bool { return b.suits(j) }) {
		return nil
	}
	if kinds == "" {
		return []Fact{{Kind: FactNoBay, Text: "there is no bay"}}
	}
	return []Fact{{Kind: FactNoBay, Resource: kinds, Text: "there is no bay of kind " + kinds}}
}

func (s *shop) noPerson(j Job, w Wish) []Fact {
	var able, wished bool
	for _, h := range s.problem.People {
		_, _, ok := h.able(j)
		able = able || ok
		if h.Name != w.Person {
			continue
		}
		if wished = true; !ok {
			return []Fact{{Kind: FactNoPerson, Resource: w.Person, Text: fmt.Sprintf("%s has not %s", w.Person, strings.Join(j.Skills, " and "))}}
		}
	}
	switch {
	case w.Person != "" && !wished:
		return []Fact{{Kind: FactNoPerson, Resource: w.Person, Text: "there is no " + w.Person}}
	case able:
		return nil
	case len(j.Skills) == 0:
		return []Fact{{Kind: FactNoPerson, Text: "there is no technician"}}
	}
	for _, skill := range j.Skills {
		if !slices.ContainsFunc(s.problem.People, func(h Person) bool {
			return slices.ContainsFunc(h.Skills, func(k Skill) bool { return k.Name == skill })
		}) {
			return []Fact{{Kind: FactNoPerson, Resource: skill, Text: "nobody has " + skill}}
		}
	}
	return []Fact{{Kind: FactNoPerson, Text: "no one person has all of " + strings.Join(j.Skills, ", ")}}
}
