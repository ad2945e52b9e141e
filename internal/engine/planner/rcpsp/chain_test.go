package rcpsp

import (
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// TestBendKeepsPrecedence: the list names every activity once and none before what it
// must follow in the other direction, and only activities that wait for each other's
// resources are turned. By the definitions, no source.
func TestBendKeepsPrecedence(t *testing.T) {
	turned := 0
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 12).Draw(t, "n")
		p := Project{Capacities: []int{3, 3}, Successors: make([][]int, n)}
		for a := range n {
			p.Durations = append(p.Durations, rapid.IntRange(0, 3).Draw(t, "duration"))
			p.Demands = append(p.Demands, []int{rapid.IntRange(0, 3).Draw(t, "first"), rapid.IntRange(0, 3).Draw(t, "second")})
			for b := a + 1; b < n; b++ {
				if rapid.IntRange(0, 5).Draw(t, "arc") == 0 {
					p.Successors[a] = append(p.Successors[a], b)
				}
			}
		}
		forward, backward, err := compile(p)
		if err != nil {
			t.Fatal(err)
		}
		s := newSearch(p, Options{}, [2]*network{forward, backward}, rand.New(rand.NewPCG(1, rapid.Uint64().Draw(t, "seed"))))
		of := s.first()
		s.justify(0, of)
		before := slices.Clone(s.list)
		s.bend(0, of)
		for _, l := range s.links {
			if of.finish[l.before] != of.finish[l.after]-forward.durations[l.after] || slices.Contains(p.Successors[l.before], int(l.after)) || !forward.rivals(l.before, l.after) {
				t.Fatalf("%v is no link of %v", l, of.finish)
			}
		}
		if !slices.Equal(before, s.list) {
			turned++
		}
		place := make([]int, n)
		for i, a := range s.list {
			place[a] = i + 1
		}
		for a := range n {
			for _, b := range p.Successors[a] {
				if place[a] == 0 || place[b] == 0 || place[b] > place[a] {
					t.Fatalf("%d must follow %d, so come first backwards, in %v", b, a, s.list)
				}
			}
		}
	})
	if turned == 0 {
		t.Error("no link was turned")
	}
}
