package inventory

import (
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func TestBinsAreOrderedAsOneWalks(t *testing.T) {
	want := []string{"A", "A10", "A-2", "A-2-9", "A-2-10", "A-10", "B-07", "B-7", "B-8", "C", ""}
	got := slices.Clone(want)
	slices.Reverse(got)
	slices.SortFunc(got, compareBins)
	if !slices.Equal(got, want) {
		t.Errorf("walked as %q, want %q", got, want)
	}
}

// An order that is none would sort differently from day to day.
func TestBinsHaveOneOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		bin := rapid.StringMatching(`[0A-B-]{0,2}[019]{0,3}[A-]?[019]{0,2}`)
		a, b, c := bin.Draw(t, "a"), bin.Draw(t, "b"), bin.Draw(t, "c")
		if compareBins(a, b) != -compareBins(b, a) || (compareBins(a, b) == 0) != (a == b) {
			t.Fatalf("%q and %q: %d and %d", a, b, compareBins(a, b), compareBins(b, a))
		}
		if compareBins(a, b) <= 0 && compareBins(b, c) <= 0 && compareBins(a, c) > 0 {
			t.Fatalf("%q ≤ %q ≤ %q, and yet the first comes last", a, b, c)
		}
	})
}
