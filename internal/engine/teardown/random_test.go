package teardown_test

import (
	"fmt"
	"math/rand/v2"

	"ramprow/internal/engine/teardown"
	"ramprow/internal/engine/teardown/effort"
)

// randomCar draws a car of up to 12 pieces and 12 operations, with alternatives, assemblies,
// reaching through gaps, and states that need one another, pieces off, or are forbidden. Some
// targets cannot be reached.
func randomCar(r *rand.Rand) teardown.Model {
	m := teardown.Model{Setup: teardown.Setup{PositionChange: 2, ToolChange: .5}}
	pieces, states := 1+r.IntN(12), r.IntN(4)
	name := func(i int) string { return fmt.Sprint("p", i) }
	some := func(limit, most int) []string {
		var out []string
		seen := map[int]bool{}
		for range r.IntN(most + 1) {
			if i := r.IntN(limit); !seen[i] {
				seen[i] = true
				out = append(out, name(i))
			}
		}
		return out
	}
	for i := range pieces {
		p := teardown.Piece{ID: name(i), Title: "Piece " + name(i), Fate: teardown.Fate(r.IntN(3))}
		for range r.IntN(3) {
			if group := some(pieces, 3); len(group) > 0 && i > 0 {
				p.BlockedBy = append(p.BlockedBy, teardown.Blocking{AnyOf: group, Kind: teardown.BlockingKind(r.IntN(2))})
			}
		}
		m.Pieces = append(m.Pieces, p)
	}
	for i := range states {
		s := teardown.State{
			ID: fmt.Sprint("s", i), Title: fmt.Sprint("State ", i),
			Enter: effort.Exactly(float64(r.IntN(5))), Leave: effort.Exactly(float64(r.IntN(5))),
		}
		if i > 0 && r.IntN(2) == 0 {
			s.NeedsStates = []string{fmt.Sprint("s", r.IntN(i))}
		}
		if r.IntN(3) == 0 {
			s.NeedsOff = []string{name(r.IntN(pieces))}
		}
		m.States = append(m.States, s)
	}
	for i := range min(12, pieces+r.IntN(4)) {
		m.Operations = append(m.Operations, randomOperation(r, i, states, some, pieces))
	}
	return m
}

func randomOperation(r *rand.Rand, i, states int, some func(limit, most int) []string, pieces int) teardown.Operation {
	o := teardown.Operation{
		ID: fmt.Sprint("o", i), Title: fmt.Sprint("Operation ", i),
		Effort: effort.Exactly(float64(r.IntN(9))), Refit: effort.Exactly(float64(r.IntN(9))),
		ByTheBook: r.IntN(2) == 0,
	}
	o.Position = []string{"", "above", "below"}[r.IntN(3)]
	o.Tools = []string{fmt.Sprint("tool", r.IntN(3))}
	o.TakesOff = []string{fmt.Sprint("p", i%pieces)}
	if r.IntN(4) == 0 {
		o.TakesOff = append(o.TakesOff, fmt.Sprint("p", (i+1)%pieces))
	}
	if r.IntN(4) == 0 {
		o.Reaches, o.TakesOff = o.TakesOff, nil
	}
	if r.IntN(3) == 0 {
		o.NeedsOff = some(pieces, 1)
	}
	if r.IntN(3) == 0 {
		o.NeedsReached = some(pieces, 1)
	}
	if states > 0 && r.IntN(2) == 0 {
		o.NeedsStates = []string{fmt.Sprint("s", r.IntN(states))}
	}
	if states > 0 && r.IntN(12) == 0 {
		o.ForbidsStates = []string{fmt.Sprint("s", r.IntN(states))}
	}
	return o
}

func randomTasks(r *rand.Rand, m teardown.Model) []teardown.Task {
	var out []teardown.Task
	for i := range 1 + r.IntN(3) {
		t := teardown.Task{
			ID: fmt.Sprint("t", i), Title: fmt.Sprint("Task ", i), Kind: teardown.TaskKind(r.IntN(2)),
			Targets: []string{m.Pieces[r.IntN(len(m.Pieces))].ID}, Effort: effort.Exactly(float64(r.IntN(9))),
		}
		if r.IntN(3) == 0 {
			t.MustBeOff = t.Targets
		}
		if len(m.States) > 0 && r.IntN(3) == 0 {
			t.NeedsStates = []string{m.States[r.IntN(len(m.States))].ID}
		}
		out = append(out, t)
	}
	return out
}

// car is a plain interpretation of the model, written for the tests alone.
type car struct {
	model        teardown.Model
	pieces       map[string]teardown.Piece
	operations   map[string]teardown.Operation
	states       map[string]teardown.State
	off, reached map[string]int
	held         map[string]bool
}

func newCar(m teardown.Model) *car {
	c := &car{
		model: m, pieces: map[string]teardown.Piece{}, operations: map[string]teardown.Operation{},
		states: map[string]teardown.State{}, off: map[string]int{}, reached: map[string]int{}, held: map[string]bool{},
	}
	for _, p := range m.Pieces {
		c.pieces[p.ID] = p
	}
	for _, o := range m.Operations {
		c.operations[o.ID] = o
	}
	for _, s := range m.States {
		c.states[s.ID] = s
	}
	return c
}

// blocked says what keeps an operation from being done; empty when nothing does.
func (c *car) blocked(o teardown.Operation) string {
	for _, p := range o.TakesOff {
	groups:
		for _, b := range c.pieces[p].BlockedBy {
			for _, other := range b.AnyOf {
				if c.off[other] > 0 || contains(o.TakesOff, other) {
					continue groups
				}
			}
			return fmt.Sprintf("%s is blocked by %v", p, b.AnyOf)
		}
	}
	for _, p := range o.NeedsOff {
		if c.off[p] == 0 {
			return p + " is not off"
		}
	}
	for _, p := range o.NeedsReached {
		if c.reached[p] == 0 {
			return p + " is not reached"
		}
	}
	return ""
}

// turn opens with by = 1 and closes with by = -1.
func (c *car) turn(o teardown.Operation, by int) {
	for _, p := range o.TakesOff {
		c.off[p] += by
		c.reached[p] += by
	}
	for _, p := range o.Reaches {
		c.reached[p] += by
	}
}

// needed lists the states and all that they need.
func (c *car) needed(states []string) map[string]bool {
	out := map[string]bool{}
	var add func(list []string)
	add = func(list []string) {
		for _, s := range list {
			if !out[s] {
				out[s] = true
				add(c.states[s].NeedsStates)
			}
		}
	}
	add(states)
	return out
}

func contains(list []string, x string) bool {
	for _, y := range list {
		if x == y {
			return true
		}
	}
	return false
}
