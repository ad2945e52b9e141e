package teardown_test

import (
	"errors"
	"strings"
	"testing"

	"ramprow/internal/engine/teardown"
	"ramprow/internal/engine/teardown/effort"
)

func TestImpossibleIsExplained(t *testing.T) {
	piece := func(id string, blockedBy ...string) teardown.Piece {
		p := teardown.Piece{ID: id, Title: strings.ToUpper(id)}
		for _, b := range blockedBy {
			p.BlockedBy = append(p.BlockedBy, teardown.Blocking{AnyOf: strings.Split(b, "|")})
		}
		return p
	}
	off := func(id string) teardown.Operation {
		return teardown.Operation{ID: "off-" + id, Title: "Off " + id, TakesOff: []string{id}, Effort: effort.Exactly(1)}
	}
	tests := []struct {
		name   string
		pieces []teardown.Piece
		ops    []teardown.Operation
		states []teardown.State
		chain  []string // piece or state of each link
		why    []string // words that must be there
	}{
		{
			name: "no operation for a blocker", pieces: []teardown.Piece{piece("a", "b"), piece("b", "c"), piece("c")},
			ops: []teardown.Operation{off("a"), off("b")}, chain: []string{"a", "b", "c"},
			why: []string{"A waits for b", "B waits for c", "no operation that is possible on this car opens C"},
		},
		{
			name: "every alternative blocked, shortest told", pieces: []teardown.Piece{piece("a", "b|c"), piece("b", "d"), piece("c"), piece("d")},
			ops: []teardown.Operation{off("a"), off("b")}, chain: []string{"a", "c"},
			why: []string{"A waits for b, c"},
		},
		{
			name: "two wait for each other", pieces: []teardown.Piece{piece("a", "b"), piece("b", "a")},
			ops: []teardown.Operation{off("a"), off("b")}, chain: []string{"a", "b"},
			why: []string{"B waits for a, which in turn waits for it"},
		},
		{
			name: "state that needs a piece off that nothing takes off", pieces: []teardown.Piece{piece("a"), piece("plug")},
			ops:    []teardown.Operation{{ID: "off-a", Title: "Off a", TakesOff: []string{"a"}, NeedsStates: []string{"locked"}}},
			states: []teardown.State{{ID: "locked", Title: "Timing locked", NeedsOff: []string{"plug"}}},
			chain:  []string{"a", "locked", "plug"},
			why:    []string{"A waits for locked", "Timing locked waits for plug"},
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			engine := must(teardown.New(teardown.Model{Pieces: tt.pieces, Operations: tt.ops, States: tt.states}))
			_, err := engine.Plan(teardown.CarState{}, []teardown.Task{look("a")}, teardown.Options{})
			var impossible *teardown.ImpossibleError
			if !errors.As(err, &impossible) {
				t.Fatalf("got %v, want an explanation", err)
			}
			var chain []string
			for _, o := range impossible.Chain {
				chain = append(chain, o.Piece+o.State)
			}
			if strings.Join(chain, " ") != strings.Join(tt.chain, " ") {
				t.Errorf("chain %v, want %v", chain, tt.chain)
			}
			for _, words := range tt.why {
				if !strings.Contains(err.Error(), words) {
					t.Errorf("%q lacks %q", err, words)
				}
			}
		})
	}
}

func TestOperationThatForbidsWhatItNeeds(t *testing.T) {
	m := tenParts()
	m.States = []teardown.State{{ID: "locked", Title: "Timing locked"}, {ID: "raised", Title: "Raised", NeedsStates: []string{"locked"}}}
	m.Operations[1].NeedsStates, m.Operations[1].ForbidsStates = []string{"raised"}, []string{"locked"}
	_, err := must(teardown.New(m)).Plan(teardown.CarState{}, []teardown.Task{look("2")}, teardown.Options{})
	if err == nil || !strings.Contains(err.Error(), "forbids") {
		t.Errorf("got %v, want the contradiction told", err)
	}
}

func TestNewRefusesBadModels(t *testing.T) {
	ok := tenParts
	tests := []struct {
		name  string
		spoil func(*teardown.Model)
		where string
	}{
		{"unknown blocker", func(m *teardown.Model) { m.Pieces[0].BlockedBy[0].AnyOf = []string{"x"} }, `piece "1"`},
		{"empty group", func(m *teardown.Model) { m.Pieces[0].BlockedBy[0].AnyOf = nil }, `piece "1"`},
		{"two of a name", func(m *teardown.Model) { m.Pieces[0].ID = "2" }, `piece "2"`},
		{"unknown piece taken off", func(m *teardown.Model) { m.Operations[0].TakesOff = []string{"x"} }, `operation "off-1"`},
		{"opens nothing", func(m *teardown.Model) { m.Operations[0].TakesOff = nil }, `operation "off-1"`},
		{"unknown state", func(m *teardown.Model) { m.Operations[0].NeedsStates = []string{"x"} }, `operation "off-1"`},
		{"falling effort", func(m *teardown.Model) {
			m.Operations[0].Effort = effort.ThreePoint{Optimistic: 3, Likely: 2, Pessimistic: 4}
		}, `operation "off-1"`},
		{"state needs itself", func(m *teardown.Model) {
			m.States = []teardown.State{{ID: "a", NeedsStates: []string{"b"}}, {ID: "b", NeedsStates: []string{"a"}}}
		}, `state "a"`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			m := ok()
			tt.spoil(&m)
			_, err := teardown.New(m)
			var invalid *teardown.InvalidError
			if !errors.As(err, &invalid) || invalid.Where != tt.where {
				t.Errorf("got %v, want it found at %s", err, tt.where)
			}
		})
	}
}
