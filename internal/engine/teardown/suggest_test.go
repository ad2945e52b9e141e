package teardown_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"ramprow/internal/engine/teardown"
	"ramprow/internal/engine/teardown/effort"
)

// While 8 is off (2 and 8: 46), 4 costs 18 more and alone 64; 7 costs 20 more and alone 66; 9 costs 14 more
// and alone 24.
func TestWhileOpen(t *testing.T) {
	engine := must(teardown.New(tenParts()))
	candidate := func(piece string, due, comingBack float64) teardown.Candidate {
		task := look(piece)
		task.ID = "look-" + piece
		task.Effort = effort.Exactly(5)
		return teardown.Candidate{Task: task, DueProbability: due, ComingBack: comingBack}
	}
	got, err := engine.WhileOpen(teardown.CarState{}, []teardown.Task{look("8")}, []teardown.Candidate{
		candidate("4", .5, 0), candidate("7", .9, 10), candidate("9", .5, 0),
	}, teardown.Options{})
	if err != nil {
		t.Fatal(err)
	}
	want := []teardown.Suggestion{
		{Candidate: candidate("7", .9, 10), Extra: 25, Alone: 71, Worth: .9*81 - 25},
		{Candidate: candidate("4", .5, 0), Extra: 23, Alone: 69, Worth: .5*69 - 23},
	} // 9: .5*29 - 19 is not worth it
	if len(got) != len(want) {
		t.Fatalf("got %+v", got)
	}
	for i := range want {
		if got[i].Candidate.Task.ID != want[i].Candidate.Task.ID || got[i].Extra != want[i].Extra ||
			got[i].Alone != want[i].Alone || math.Abs(got[i].Worth-want[i].Worth) > 1e-9 {
			t.Errorf("suggestion %d: %+v, want %+v", i, got[i], want[i])
		}
	}
}

func TestAlternatives(t *testing.T) {
	m := tenParts()
	for i := range m.Operations {
		m.Operations[i].ByTheBook = true
	}
	m.Operations = append(m.Operations, teardown.Operation{
		ID: "past-7", Title: "Past 7", TakesOff: []string{"7"}, Reaches: []string{"8"}, Effort: effort.Exactly(1), Risk: "scratches 8",
	}, teardown.Operation{ID: "reach-8", Title: "Reach 8", Reaches: []string{"8"}, Effort: effort.Exactly(9), Risk: "long arm"})
	task := teardown.Task{ID: "t", Title: "Look at 8", Targets: []string{"8"}}
	got, err := must(teardown.New(m)).Alternatives(teardown.CarState{}, []teardown.Task{task}, teardown.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(got) != 2 || got[0].Plan.Cost != 9 || got[1].Plan.Cost != 46 || len(got[1].Risks) != 0 {
		t.Fatalf("got %+v", got)
	}
	if !slices.Equal(got[0].Risks, []string{"Reach 8: long arm"}) {
		t.Errorf("risks %q", got[0].Risks)
	}
}

func TestUnaccounted(t *testing.T) {
	m := tenParts()
	m.Pieces[0].Fate = teardown.Renew
	m.Pieces[2].Count = 4
	m.States = []teardown.State{{ID: "locked", Title: "Timing locked", ToolsLeftOn: []string{"pin"}}}
	engine := must(teardown.New(m))
	tests := []struct {
		name  string
		trays []teardown.Tray
		held  []string
		want  []string
	}{
		{"all in order", []teardown.Tray{{Piece: "1", Off: 1, Back: 1, Renewed: 1}, {Piece: "3", Off: 4, Back: 4}}, nil, nil},
		{"one missing", []teardown.Tray{{Piece: "3", Off: 4, Back: 3}}, nil, []string{"4 came off and 3 went back"}},
		{"missing and signed for", []teardown.Tray{{Piece: "3", Off: 4, Back: 3, Explained: "fell into the pit, K. Hand"}}, nil, nil},
		{"old seal", []teardown.Tray{{Piece: "1", Off: 1, Back: 1}}, nil, []string{"used once"}},
		{"fragments", []teardown.Tray{{Piece: "2", Off: 1, Back: 1, Broken: true, Fragments: 2}}, nil, []string{"2 fragments"}},
		{"fragments counted", []teardown.Tray{{Piece: "2", Off: 1, Back: 1, Broken: true, Fragments: 3, Counted: true}}, nil, nil},
		{"tool on the engine", nil, []string{"locked"}, []string{"has not been left", "pin is still on"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, err := engine.Unaccounted(tt.trays, tt.held)
			if err != nil || len(got) != len(tt.want) {
				t.Fatalf("got %+v, %v; want %q", got, err, tt.want)
			}
			for i, words := range tt.want {
				if !strings.Contains(got[i].Why, words) {
					t.Errorf("%q lacks %q", got[i].Why, words)
				}
			}
		})
	}
	if _, err := engine.Unaccounted([]teardown.Tray{{Piece: "x"}}, nil); err == nil {
		t.Error("a tray of an unknown piece is accepted")
	}
	plan, err := engine.Plan(teardown.CarState{}, []teardown.Task{look("3")}, teardown.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if trays := engine.NewTrays(plan); len(trays) != 1 || trays[0] != (teardown.Tray{Piece: "3", Off: 4}) {
		t.Errorf("trays %+v", trays)
	}
}

// TestThrough insists on operations of random cars: the plan has the operation, can be done step by step, is never
// cheaper than the free one, and costs the same where the free one has the operation anyway.
func TestThrough(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	insisted := 0
	for range 400 {
		m := randomCar(r)
		tasks := randomTasks(r, m)
		e := must(teardown.New(m))
		free, err := e.Plan(teardown.CarState{}, tasks, teardown.Options{MeansOnly: true})
		if err != nil {
			continue
		}
		o := m.Operations[r.IntN(len(m.Operations))].ID
		p, err := e.Plan(teardown.CarState{}, tasks, teardown.Options{MeansOnly: true, Through: []string{o}})
		var impossible *teardown.ImpossibleError
		if errors.As(err, &impossible) || err != nil && strings.Contains(err.Error(), "excluded") {
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		insisted++
		if !slices.Contains(p.Chosen, o) || p.Cost < free.Cost-1e-9 {
			t.Fatalf("through %s: %v for %v, freely %v for %v", o, p.Chosen, p.Cost, free.Chosen, free.Cost)
		}
		if slices.Contains(free.Chosen, o) && p.Cost > free.Cost+1e-9 {
			t.Fatalf("through %s, which the cheapest plan has, costs %v and not %v", o, p.Cost, free.Cost)
		}
		if fault := replay(m, teardown.CarState{}, tasks, p.Steps, inOrder(p.Steps)); fault != "" {
			t.Fatalf("through %s: %s", o, fault)
		}
	}
	if insisted < 100 {
		t.Errorf("only %d plans were insisted upon", insisted)
	}
}
