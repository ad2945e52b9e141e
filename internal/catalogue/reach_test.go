package catalogue

import (
	"errors"
	"strings"
	"testing"

	"go.yaml.in/yaml/v3"
)

// TestCyclesRespectWaysOut writes small blocking graphs and wants a cycle
// reported only when some car really stays stuck.
func TestCyclesRespectWaysOut(t *testing.T) {
	for _, tc := range []struct{ name, pieces, want string }{
		{
			"three in a ring",
			`[{id: a, title: A, blocked_by: [{any_of: [b]}]}, {id: b, title: B, blocked_by: [{any_of: [c]}]}, {id: c, title: C, blocked_by: [{any_of: [a]}]}]`,
			"a ← b ← c ← a",
		},
		{
			"an alternative leads out",
			`[{id: a, title: A, blocked_by: [{any_of: [b, d]}]}, {id: b, title: B, blocked_by: [{any_of: [a]}]}, {id: c, title: C}, {id: d, title: D}]`,
			"",
		},
		{
			"the conditions exclude each other",
			`[{id: a, title: A, blocked_by: [{any_of: [b], when: [{feature: body, any_of: [hatch]}]}]}, {id: b, title: B, blocked_by: [{any_of: [a], when: [{feature: body, any_of: [estate]}]}]}, {id: c, title: C}]`,
			"",
		},
		{
			"only one body is stuck",
			`[{id: a, title: A, blocked_by: [{any_of: [b], when: [{feature: body, any_of: [hatch]}]}]}, {id: b, title: B, blocked_by: [{any_of: [a]}]}, {id: c, title: C}]`,
			"on body=hatch these wait for each other: a ← b ← a",
		},
		{
			"a piece the car lacks does not block",
			`[{id: a, title: A, blocked_by: [{any_of: [b]}]}, {id: b, title: B, when: [{feature: body, any_of: [hatch]}]}, {id: c, title: C, when: [{feature: body, any_of: [estate]}], blocked_by: [{any_of: [a]}]}]`,
			"",
		},
		{
			"itself",
			`[{id: a, title: A, blocked_by: [{any_of: [a]}]}, {id: b, title: B}, {id: c, title: C}]`,
			"a ← a",
		},
	} {
		t.Run(tc.name, func(t *testing.T) {
			found := messagesOf(t, "BLOCKING_CYCLE", graph(t, tc.pieces))
			switch {
			case tc.want == "" && len(found) > 0:
				t.Errorf("unexpected: %v", found)
			case tc.want != "" && (len(found) != 1 || !strings.Contains(found[0], tc.want)):
				t.Errorf("have %q, want one with %q", found, tc.want)
			}
		})
	}
}

// TestStatesTakePartInCycles: a state that needs a piece off which needs the state.
func TestStatesTakePartInCycles(t *testing.T) {
	text := graph(t, `[{id: a, title: A}, {id: b, title: B}, {id: c, title: C}]`) + `
states:
  - id: locked
    title: Locked
    needs_off: [a]
    enter: {optimistic: 1, likely: 1, pessimistic: 1}
    leave: {optimistic: 1, likely: 1, pessimistic: 1}
`
	text = strings.Replace(text, "takes_off: [a]", "takes_off: [a]\n    needs_states: [locked]", 1)
	found := messagesOf(t, "BLOCKING_CYCLE", text)
	if len(found) != 1 || !strings.Contains(found[0], "a ← state locked ← a") {
		t.Errorf("have %q", found)
	}
}

// graph is a catalogue with these pieces and one operation for each of a, b, c.
func graph(t *testing.T, pieces string) string {
	t.Helper()
	text := `id: graph
edition: 1
title: Graph
currency_code: EUR
features:
  - {id: body, title: Body, kind: KIND_VARIANT, values: [{id: hatch, title: Hatch}, {id: estate, title: Estate}]}
pieces: ` + pieces + `
operations:
`
	var parsed struct{ Pieces []struct{ ID string } }
	if err := yaml.Unmarshal([]byte("pieces: "+pieces), &parsed); err != nil {
		t.Fatal(err)
	}
	for _, piece := range parsed.Pieces {
		text += `  - id: ` + piece.ID + `-off
    title: Take it off
    takes_off: [` + piece.ID + `]
    effort: {optimistic: 1, likely: 1, pessimistic: 1}
    refit: {optimistic: 1, likely: 1, pessimistic: 1}
    by_the_book: true
`
	}
	return text
}

// messagesOf loads a text and gives the messages of one rule. Any other problem
// fails the test.
func messagesOf(t *testing.T, rule, text string) []string {
	t.Helper()
	_, err := Load("text.yaml", []byte(text))
	if err == nil {
		return nil
	}
	problems, ok := errors.AsType[*Problems](err)
	if !ok {
		t.Fatal(err)
	}
	var messages []string
	for _, p := range problems.List {
		if p.Rule != rule {
			t.Errorf("also: %v", p)
			continue
		}
		messages = append(messages, p.Message)
	}
	return messages
}
