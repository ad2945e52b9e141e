package teardown_test

import (
	"fmt"
	"math/rand/v2"
	"slices"

	"ramprow/internal/engine/teardown"
)

func inOrder(steps []teardown.Step) []int {
	out := make([]int, len(steps))
	for i := range steps {
		out[i] = i
	}
	return out
}

// anyOrder draws an order that respects nothing but the steps' own After.
func anyOrder(r *rand.Rand, steps []teardown.Step) []int {
	var out []int
	done := make([]bool, len(steps))
	for len(out) < len(steps) {
		var ready []int
		for i, s := range steps {
			if !done[i] && !slices.ContainsFunc(s.After, func(before int) bool { return !done[before] }) {
				ready = append(ready, i)
			}
		}
		i := ready[r.IntN(len(ready))]
		done[i] = true
		out = append(out, i)
	}
	return out
}

// replay does the steps on a plain car and tells the first rule that is broken.
func replay(m teardown.Model, start teardown.CarState, tasks []teardown.Task, steps []teardown.Step, order []int) string {
	c := newCar(m)
	for _, id := range start.Done {
		c.turn(c.operations[id], 1)
	}
	for _, s := range start.States {
		c.held[s] = true
	}
	tasksDone := 0
	for _, i := range order {
		problem := ""
		switch s := steps[i]; s.Kind {
		case teardown.StepOpen:
			problem = c.open(s)
		case teardown.StepRefit:
			problem = c.refit(s)
		case teardown.StepEnterState:
			problem = c.enter(s)
		case teardown.StepLeaveState:
			problem = c.leave(s)
		case teardown.StepTask:
			tasksDone++
			at := slices.IndexFunc(tasks, func(t teardown.Task) bool { return t.ID == s.ID })
			if problem = c.statesWrong(tasks[at].NeedsStates, tasks[at].ForbidsStates); problem == "" && !c.allows(tasks[at:at+1]) {
				problem = "its targets are not open"
			}
		}
		if problem != "" {
			return fmt.Sprintf("step %d (%v %s): %s", i, steps[i].Kind, steps[i].ID, problem)
		}
	}
	return c.leftOpen(len(tasks) - tasksDone)
}

func (c *car) open(s teardown.Step) string {
	o := c.operations[s.ID]
	if problem := c.blocked(o); problem != "" {
		return problem
	}
	if problem := c.statesWrong(o.NeedsStates, o.ForbidsStates); problem != "" {
		return problem
	}
	if s.Reason == "" {
		return "has no reason"
	}
	c.turn(o, 1)
	return ""
}

// refit demands that without the operation's pieces everything that is still open could have been
// opened, which is what closing in reverse means.
func (c *car) refit(s teardown.Step) string {
	o := c.operations[s.ID]
	c.turn(o, -1)
	if problem := c.blocked(o); problem != "" {
		return "goes back too late: " + problem
	}
	for held := range c.held {
		for _, p := range c.states[held].NeedsOff {
			if c.off[p] == 0 {
				return held + " is held and needs " + p + " off"
			}
		}
	}
	return c.statesWrong(o.NeedsStates, o.ForbidsStates)
}

func (c *car) enter(s teardown.Step) string {
	state := c.states[s.ID]
	if c.held[s.ID] {
		return "is held already"
	}
	for _, p := range state.NeedsOff {
		if c.off[p] == 0 {
			return p + " is not off"
		}
	}
	for _, n := range state.NeedsStates {
		if !c.held[n] {
			return n + " is not held"
		}
	}
	c.held[s.ID] = true
	return ""
}

func (c *car) leave(s teardown.Step) string {
	if !c.held[s.ID] {
		return "is not held"
	}
	delete(c.held, s.ID)
	for other := range c.held {
		if c.needed(c.states[other].NeedsStates)[s.ID] {
			return other + " rests upon it"
		}
	}
	return ""
}

func (c *car) statesWrong(needs, forbids []string) string {
	for s := range c.needed(needs) {
		if !c.held[s] {
			return s + " is not held"
		}
	}
	for _, s := range forbids {
		if c.held[s] {
			return s + " is held and forbidden"
		}
	}
	return ""
}

func (c *car) leftOpen(tasks int) string {
	if tasks != 0 {
		return fmt.Sprintf("%d tasks were left out", tasks)
	}
	for p, n := range c.reached {
		if n != 0 {
			return p + " is left open"
		}
	}
	for s := range c.held {
		return s + " is left"
	}
	return ""
}
