package bench

import (
	"strings"
	"testing"
	"time"

	"ramprow/services/ramprow/simulate/invariants"
)

// of gives a quantity of the first part.
func of(n int64) take { return take{n} }

// after is what an answer says of the first part.
func after(onHand, held int64) []figure { return []figure{{0, onHand, held}} }

// TestLinearize holds the search to histories of which people can see at once
// whether they are possible.
func TestLinearize(t *testing.T) {
	stocked := operation{kind: opReceived, called: 0, answered: 1, pieces: of(3), after: after(3, 0), rank: 1}
	for _, tt := range []struct {
		name    string
		history []operation
		want    string // part of the error; empty: possible
	}{
		{"two share three pieces", []operation{
			stocked,
			{kind: opHold, called: 2, answered: 9, pieces: of(2), after: after(3, 3), rank: 3},
			{kind: opHold, called: 3, answered: 8, pieces: of(1), after: after(3, 1), rank: 2},
		}, ""},
		{"one piece is promised twice", []operation{
			stocked,
			{kind: opHold, called: 2, answered: 9, pieces: of(2), after: after(3, 2), rank: 2},
			{kind: opHold, called: 3, answered: 8, pieces: of(2), after: after(3, 2), rank: 3},
		}, "not linearizable"},
		{"refused while a hold stood", []operation{
			stocked,
			{kind: opHold, called: 2, answered: 3, pieces: of(3), after: after(3, 3), rank: 2},
			{kind: opRefused, called: 4, answered: 6, pieces: of(1), short: []int{0}},
			{kind: opFreed, called: 5, answered: 9, pieces: of(3), rank: 3},
		}, ""},
		{"refused after the hold had ended", []operation{
			stocked,
			{kind: opHold, called: 2, answered: 3, pieces: of(3), after: after(3, 3), rank: 2},
			{kind: opFreed, called: 4, answered: 5, pieces: of(3), rank: 3},
			{kind: opRefused, called: 6, answered: 7, pieces: of(1), short: []int{0}},
		}, "not linearizable"},
		{"the log has it before it was called for", []operation{
			stocked,
			{kind: opHold, called: 2, answered: 3, pieces: of(1), after: after(3, 2), rank: 3},
			{kind: opHold, called: 4, answered: 5, pieces: of(1), after: after(3, 1), rank: 2},
		}, "not linearizable"},
		{"issued without a hold", []operation{stocked, {kind: opIssued, called: 2, answered: 3, pieces: of(1), rank: 2}}, "not linearizable"},
		{"counted below what is held", []operation{
			stocked,
			{kind: opHold, called: 2, answered: 3, pieces: of(2), after: after(3, 2), rank: 2},
			{kind: opCounted, called: 4, answered: 5, pieces: of(1), after: after(1, 2), rank: 3},
		}, "not linearizable"},
		{"counted and refused", []operation{
			stocked,
			{kind: opHold, called: 2, answered: 3, pieces: of(2), after: after(3, 2), rank: 2},
			{kind: opCountRefused, called: 4, answered: 5, pieces: of(1)},
			{kind: opCounted, called: 6, answered: 7, pieces: of(2), after: after(2, 2), rank: 3},
		}, ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			err := linearize(tt.history, 2, time.Minute)
			if tt.want == "" && err != nil || tt.want != "" && (err == nil || !strings.Contains(err.Error(), tt.want)) {
				t.Errorf("got %v, want %q", err, tt.want)
			}
		})
	}
}

func TestHoldsConfigIsChecked(t *testing.T) {
	good := HoldsConfig{Callers: 2, Parts: 2, Holds: 10, Kills: 1, Check: time.Second}
	if err := good.check(); err != nil {
		t.Fatal(err)
	}
	for name, change := range map[string]func(*HoldsConfig){
		"no callers":   func(c *HoldsConfig) { c.Callers = 0 },
		"a crowd":      func(c *HoldsConfig) { c.Callers = maxCallers + 1 },
		"one part":     func(c *HoldsConfig) { c.Parts = 1 },
		"many parts":   func(c *HoldsConfig) { c.Parts = mostParts + 1 },
		"no holds":     func(c *HoldsConfig) { c.Holds = 0 },
		"fewer kills":  func(c *HoldsConfig) { c.Kills = -1 },
		"time goes by": func(c *HoldsConfig) { c.Duration = -1 },
		"no check":     func(c *HoldsConfig) { c.Check = 0 },
	} {
		c := good
		change(&c)
		if err := c.check(); err == nil {
			t.Errorf("%s: it is taken", name)
		}
	}
}

func TestViolationsAreToldInPart(t *testing.T) {
	if err := violationsOf(nil); err != nil {
		t.Error(err)
	}
	err := violationsOf(make([]invariants.Violation, 8))
	if err == nil || !strings.Contains(err.Error(), "and 3 more") {
		t.Error(err)
	}
}
