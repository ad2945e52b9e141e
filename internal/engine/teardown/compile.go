package teardown

import (
	"fmt"

	"ramprow/internal/engine/teardown/effort"
)

// Engine is a checked model, ready to plan. It is immutable and may be shared.
type Engine struct {
	model      Model
	pieces     map[string]int
	operations map[string]int
	states     map[string]int
	// requires is, by operation, every state that must hold: those it needs, and those they need,
	// each after what it needs itself.
	requires [][]int
	// stateRequires is the same by state, without the state itself.
	stateRequires [][]int
	// groups is, by operation, what must be open before: one of each group.
	groups [][]group
}

// group is satisfied when any one of its pieces is off, or for reached merely reached.
type group struct {
	pieces  []int
	reached bool
	breaks  bool
	// of is the piece that is blocked; -1 where the operation itself needs the group.
	of int
}

// New checks the model. Its error is an *InvalidError.
func New(model Model) (*Engine, error) {
	e := &Engine{
		model:      model,
		pieces:     make(map[string]int, len(model.Pieces)),
		operations: make(map[string]int, len(model.Operations)),
		states:     make(map[string]int, len(model.States)),
	}
	for _, add := range []func() error{e.number, e.checkBlocking, e.addStates, e.addOperations} {
		if err := add(); err != nil {
			return nil, err
		}
	}
	return e, nil
}

func (e *Engine) number() error {
	put := func(kind, id string, into map[string]int, at int) error {
		if _, twice := into[id]; twice || id == "" {
			return &InvalidError{fmt.Sprintf("%s %q", kind, id), "needs an ID of its own"}
		}
		into[id] = at
		return nil
	}
	for i, p := range e.model.Pieces {
		if err := put("piece", p.ID, e.pieces, i); err != nil {
			return err
		}
	}
	for i, s := range e.model.States {
		if err := put("state", s.ID, e.states, i); err != nil {
			return err
		}
	}
	for i, o := range e.model.Operations {
		if err := put("operation", o.ID, e.operations, i); err != nil {
			return err
		}
	}
	return nil
}

func (e *Engine) checkBlocking() error {
	for _, p := range e.model.Pieces {
		for _, b := range p.BlockedBy {
			where := fmt.Sprintf("piece %q", p.ID)
			if len(b.AnyOf) == 0 {
				return &InvalidError{where, "is blocked by a group without pieces"}
			}
			if _, err := e.indexes(where, e.pieces, b.AnyOf); err != nil {
				return err
			}
		}
	}
	return nil
}

func (e *Engine) addStates() error {
	e.stateRequires = make([][]int, len(e.model.States))
	for i, s := range e.model.States {
		where := fmt.Sprintf("state %q", s.ID)
		if err := checkEffort(where, s.Enter, s.Leave); err != nil {
			return err
		}
		if _, err := e.indexes(where, e.pieces, s.NeedsOff); err != nil {
			return err
		}
		needs, err := e.indexes(where, e.states, s.NeedsStates)
		if err != nil {
			return err
		}
		if e.stateRequires[i], err = e.closure(needs, i); err != nil {
			return err
		}
	}
	return nil
}

// closure lists the states and all that they need, each after its needs. It fails where a state
// would need itself; self is the state that asks, or -1.
func (e *Engine) closure(states []int, self int) ([]int, error) {
	const open, done = 1, 2
	mark := map[int]int{}
	if self >= 0 {
		mark[self] = open
	}
	var out []int
	var visit func(s int) error
	visit = func(s int) error {
		switch mark[s] {
		case done:
			return nil
		case open:
			return &InvalidError{fmt.Sprintf("state %q", e.model.States[s].ID), "needs itself in the end"}
		}
		mark[s] = open
		for _, id := range e.model.States[s].NeedsStates {
			n, known := e.states[id]
			if !known {
				return &InvalidError{fmt.Sprintf("state %q", e.model.States[s].ID), fmt.Sprintf("names %q, which is unknown", id)}
			}
			if err := visit(n); err != nil {
				return err
			}
		}
		mark[s] = done
		out = append(out, s)
		return nil
	}
	for _, s := range states {
		if err := visit(s); err != nil {
			return nil, err
		}
	}
	return out, nil
}

func (e *Engine) addOperations() error {
	e.requires = make([][]int, len(e.model.Operations))
	e.groups = make([][]group, len(e.model.Operations))
	for i, o := range e.model.Operations {
		where := fmt.Sprintf("operation %q", o.ID)
		if err := checkEffort(where, o.Effort, o.Refit); err != nil {
			return err
		}
		if len(o.TakesOff)+len(o.Reaches) == 0 {
			return &InvalidError{where, "neither takes off nor reaches anything"}
		}
		for _, list := range [][]string{o.TakesOff, o.Reaches, o.NeedsOff, o.NeedsReached} {
			if _, err := e.indexes(where, e.pieces, list); err != nil {
				return err
			}
		}
		if _, err := e.indexes(where, e.states, o.ForbidsStates); err != nil {
			return err
		}
		needs, err := e.indexes(where, e.states, o.NeedsStates)
		if err != nil {
			return err
		}
		if e.requires[i], err = e.closure(needs, -1); err != nil {
			return err
		}
		e.groups[i] = e.prerequisites(o)
	}
	return nil
}

// prerequisites lists what must be open before the operation. What comes off in the same operation
// does not block it.
func (e *Engine) prerequisites(o Operation) []group {
	together := make(map[string]bool, len(o.TakesOff))
	for _, id := range o.TakesOff {
		together[id] = true
	}
	var out []group
	for _, id := range o.TakesOff {
	blocking:
		for _, b := range e.model.Pieces[e.pieces[id]].BlockedBy {
			g := group{of: e.pieces[id], breaks: b.Kind == Breaks}
			for _, other := range b.AnyOf {
				if together[other] {
					continue blocking
				}
				g.pieces = append(g.pieces, e.pieces[other])
			}
			out = append(out, g)
		}
	}
	for _, id := range o.NeedsOff {
		out = append(out, group{pieces: []int{e.pieces[id]}, of: -1})
	}
	for _, id := range o.NeedsReached {
		out = append(out, group{pieces: []int{e.pieces[id]}, of: -1, reached: true})
	}
	return out
}

func (e *Engine) indexes(where string, known map[string]int, ids []string) ([]int, error) {
	out := make([]int, len(ids))
	for i, id := range ids {
		at, ok := known[id]
		if !ok {
			return nil, &InvalidError{where, fmt.Sprintf("names %q, which is unknown", id)}
		}
		out[i] = at
	}
	return out, nil
}

func checkEffort(where string, efforts ...effort.ThreePoint) error {
	for _, t := range efforts {
		if !t.Valid() {
			return &InvalidError{where, "effort must be three minutes from 0 that do not fall"}
		}
	}
	return nil
}
