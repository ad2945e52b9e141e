package fastening

import (
	"errors"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// TestCrossFollowsLegacySequences: the published flange guideline's legacy
// cross sequences. 8, 12, 16 and 24 were read in secondary copies; 4, 20, 28
// and 32 are from memory.
func TestCrossFollowsLegacySequences(t *testing.T) {
	sequences := [][]int{
		{1, 3, 2, 4},
		{1, 5, 3, 7, 2, 6, 4, 8},
		{1, 7, 4, 10, 2, 8, 5, 11, 3, 9, 6, 12},
		{1, 9, 5, 13, 3, 11, 7, 15, 2, 10, 6, 14, 4, 12, 8, 16},
		{1, 11, 6, 16, 3, 13, 8, 18, 5, 15, 10, 20, 2, 12, 7, 17, 4, 14, 9, 19},
		{1, 13, 7, 19, 4, 16, 10, 22, 2, 14, 8, 20, 5, 17, 11, 23, 3, 15, 9, 21, 6, 18, 12, 24},
		{1, 15, 8, 22, 4, 18, 11, 25, 6, 20, 13, 27, 2, 16, 9, 23, 5, 19, 12, 26, 7, 21, 14, 28, 3, 17, 10, 24},
		{
			1, 17, 9, 25, 5, 21, 13, 29, 3, 19, 11, 27, 7, 23, 15, 31,
			2, 18, 10, 26, 6, 22, 14, 30, 4, 20, 12, 28, 8, 24, 16, 32,
		},
	}
	for _, want := range sequences {
		got, err := Order(Cross, len(want), nil)
		if err != nil || !slices.Equal(got, want) {
			t.Errorf("cross of %d = %v (%v), want %v", len(want), got, err, want)
		}
	}
}

func TestOrders(t *testing.T) {
	for _, c := range []struct {
		name    string
		pattern Pattern
		n       int
		listed  []int
		want    []int
	}{
		{"line of ten from the middle", FromMiddle, 10, nil, []int{5, 6, 4, 7, 3, 8, 2, 9, 1, 10}},
		{"line of five from the middle", FromMiddle, 5, nil, []int{3, 4, 2, 5, 1}},
		{"star of five wheel bolts", Cross, 5, nil, []int{1, 3, 5, 2, 4}},
		{"six crosswise", Cross, 6, nil, []int{1, 4, 2, 5, 3, 6}},
		{"circle", Circle, 4, nil, []int{1, 2, 3, 4}},
		{"numbered", Numbered, 3, nil, []int{1, 2, 3}},
		{"listed", Listed, 3, []int{2, 3, 1}, []int{2, 3, 1}},
		{"one", Cross, 1, nil, []int{1}},
	} {
		got, err := Order(c.pattern, c.n, c.listed)
		if err != nil || !slices.Equal(got, c.want) {
			t.Errorf("%s: %v (%v), want %v", c.name, got, err, c.want)
		}
	}
}

func TestOrderRefuses(t *testing.T) {
	for _, c := range []struct {
		pattern Pattern
		n       int
		listed  []int
	}{{Cross, 0, nil}, {Listed, 3, []int{1, 2}}, {Listed, 3, []int{1, 2, 2}}, {Listed, 2, []int{0, 1}}, {Pattern(99), 2, nil}} {
		_, err := Order(c.pattern, c.n, c.listed)
		if _, ok := errors.AsType[*SpecError](err); !ok {
			t.Errorf("pattern %d of %d: error %v, want a SpecError", c.pattern, c.n, err)
		}
	}
}

// TestPatternsArePermutations holds for every pattern and size; a cross of an
// even number also jumps to the opposite one at every odd step.
func TestPatternsArePermutations(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 200).Draw(t, "n")
		p := rapid.SampledFrom([]Pattern{Numbered, FromMiddle, Cross, Circle}).Draw(t, "pattern")
		order, err := Order(p, n, nil)
		if err != nil || !isPermutation(order, n) {
			t.Fatalf("pattern %d of %d gives %v (%v)", p, n, order, err)
		}
		if p != Cross || n%2 == 1 {
			return
		}
		for i := 0; i < n; i += 2 {
			if order[i+1]-order[i] != n/2 {
				t.Fatalf("cross of %d: bolt %d is not opposite %d", n, order[i+1], order[i])
			}
		}
	})
}

func TestNeighbours(t *testing.T) {
	for _, c := range []struct {
		name     string
		order    []int
		fastener int
		want     []int
	}{
		{"end of a line", fromMiddle(6), 1, []int{2}},
		{"inside a line", fromMiddle(6), 3, []int{2, 4}},
		{"round a circle", cross(8), 1, []int{8, 2}},
		{"layout not known", []int{4, 1, 3, 2}, 4, []int{1, 2, 3}},
	} {
		if got := neighbours(c.order, c.fastener); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}
