// Package check finds out whether a plan is possible. It shares nothing with the
// planner but the words of the problem: it asks of every moment between two
// changes whether everybody and everything is there, and compares all pairs.
//
// It is slow and plain on purpose: tests, benches and demos hold every plan
// against it.
package check

import (
	"fmt"
	"slices"
	"time"

	"ramprow/internal/engine/planner"
)

// Violation is one thing that cannot be.
type Violation struct{ Job, Text string }

// String says it in words.
func (v Violation) String() string { return v.Job + ": " + v.Text }

// Plan gives everything that is wrong with a plan; nil if it is possible.
func Plan(p planner.Problem, plan planner.Plan) []Violation {
	c := &checker{problem: p, zone: p.Zone, jobs: map[string]planner.Job{}}
	if c.zone == nil {
		c.zone = time.UTC
	}
	for _, j := range p.Jobs {
		c.jobs[j.Name] = j
	}
	c.everyJobOnce(plan)
	for _, placed := range plan.Placements {
		if j, known := c.jobs[placed.Job]; known {
			c.placement(j, placed)
		}
	}
	c.nothingTwice(plan.Placements)
	return c.found
}

type checker struct {
	problem planner.Problem
	zone    *time.Location
	jobs    map[string]planner.Job
	found   []Violation
}

func (c *checker) wrong(job, format string, args ...any) {
	c.found = append(c.found, Violation{job, fmt.Sprintf(format, args...)})
}

// everyJobOnce: each job has one place, or a reason for having none.
func (c *checker) everyJobOnce(plan planner.Plan) {
	times := map[string]int{}
	for _, placed := range plan.Placements {
		times[placed.Job]++
	}
	for _, u := range plan.Unplaced {
		times[u.Job]++
		if len(u.Facts) == 0 {
			c.wrong(u.Job, "has no place and no reason")
		}
	}
	for name := range c.jobs {
		if times[name] != 1 {
			c.wrong(name, "is answered %d times", times[name])
		}
	}
	if len(times) != len(c.jobs) {
		c.wrong("plan", "answers %d jobs of %d", len(times), len(c.jobs))
	}
}

func (c *checker) placement(j planner.Job, placed planner.Placement) {
	if !placed.Kept && placed.Why == "" {
		c.wrong(j.Name, "was placed without a reason")
	}
	if j.Started != nil {
		c.started(j, placed)
		return
	}
	c.suits(j, placed)
	c.inTime(j, placed)
	c.works(j, placed)
	c.wished(j, placed)
}

// started: begun work has not moved and is not over.
func (c *checker) started(j planner.Job, placed planner.Placement) {
	s := j.Started
	if !placed.When.Start.Equal(s.At) {
		c.wrong(j.Name, "began at %v and was moved to %v", s.At, placed.When.Start)
	}
	if s.Bay != "" && placed.Bay != s.Bay || s.Person != "" && placed.Person != s.Person {
		c.wrong(j.Name, "began in %s with %s and was moved to %s with %s", s.Bay, s.Person, placed.Bay, placed.Person)
	}
	if !slices.Equal(s.Tools, placed.Tools) {
		c.wrong(j.Name, "began with %v and now has %v", s.Tools, placed.Tools)
	}
	if placed.When.End.Before(c.problem.Now) {
		c.wrong(j.Name, "is said to have ended before now")
	}
}

// suits: the bay is of a kind, the person has the licences until the end, and
// there is one piece of every tool.
func (c *checker) suits(j planner.Job, placed planner.Placement) {
	bay, ok := c.bay(placed.Bay)
	if !ok || len(j.BayKinds) > 0 && !slices.Contains(j.BayKinds, bay.Kind) {
		c.wrong(j.Name, "is in %q, which does not suit", placed.Bay)
	}
	person, ok := c.person(placed.Person)
	if !ok {
		c.wrong(j.Name, "is with %q, whom nobody knows", placed.Person)
	}
	for _, want := range j.Skills {
		valid := false
		for _, s := range person.Skills {
			valid = valid || s.Name == want && (s.Expires.IsZero() || !s.Expires.Before(placed.When.End))
		}
		if !valid {
			c.wrong(j.Name, "needs %s, which %s has not until %v", want, placed.Person, placed.When.End)
		}
	}
	var types []string
	for _, name := range placed.Tools {
		tool, _ := c.tool(name)
		types = append(types, tool.Type)
	}
	if !slices.Equal(sorted(types), sorted(j.ToolTypes)) {
		c.wrong(j.Name, "needs the tools %v and has %v", j.ToolTypes, placed.Tools)
	}
}

// inTime: not in the past, not before it may, not over a block of bay or tool.
func (c *checker) inTime(j planner.Job, placed planner.Placement) {
	start := placed.When.Start
	stays := j.Current != nil && start.Equal(j.Current.When.Start) && !start.Before(c.problem.Now.Add(-c.problem.Grace))
	if start.Before(c.problem.Now) && !stays {
		c.wrong(j.Name, "starts in the past, at %v", start)
	}
	if start.Before(j.Release) {
		c.wrong(j.Name, "starts at %v, before %v", start, j.Release)
	}
	var blocks []planner.Block
	if bay, ok := c.bay(placed.Bay); ok {
		blocks = append(blocks, bay.Calendar.Blocks...)
	}
	for _, name := range placed.Tools {
		tool, _ := c.tool(name)
		blocks = append(blocks, tool.Calendar.Blocks...)
	}
	for _, b := range blocks {
		if b.When.Start.Before(placed.When.End) && start.Before(b.When.End) {
			c.wrong(j.Name, "lies over the block %q", b.Why)
		}
	}
}

// wished: a wish is met to the letter; a pin that did not hold says so.
func (c *checker) wished(j planner.Job, placed planner.Placement) {
	if w := j.Wish; w != nil {
		if w.Bay != "" && w.Bay != placed.Bay || w.Person != "" && w.Person != placed.Person ||
			!w.Start.IsZero() && !w.Start.Equal(placed.When.Start) {
			c.wrong(j.Name, "was wished for %+v and is at %+v", *w, placed)
		}
		return
	}
	if j.Pinned && j.Current != nil && placed.Why == "" &&
		(placed.Bay != j.Current.Bay || placed.Person != j.Current.Person || !placed.When.Start.Equal(j.Current.When.Start)) {
		c.wrong(j.Name, "was pinned and moved without a word")
	}
}

// nothingTwice: from now on no bay, person or tool is in two places.
func (c *checker) nothingTwice(all []planner.Placement) {
	for i, a := range all {
		for _, b := range all[i+1:] {
			if !c.ahead(a.When.Start).Before(b.When.End) || !c.ahead(b.When.Start).Before(a.When.End) {
				continue
			}
			for _, name := range append([]string{a.Bay, a.Person}, a.Tools...) {
				if name != "" && (name == b.Bay || name == b.Person || slices.Contains(b.Tools, name)) {
					c.wrong(a.Job, "and %s both hold %s at %v", b.Job, name, c.ahead(b.When.Start))
				}
			}
		}
	}
}

func (c *checker) ahead(t time.Time) time.Time {
	if t.Before(c.problem.Now) {
		return c.problem.Now
	}
	return t
}

func sorted(s []string) []string { return slices.Sorted(slices.Values(s)) }
