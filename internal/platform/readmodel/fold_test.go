package readmodel

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// TestTouchedAfter holds what is found from the end of a list to a look through
// everything that was ever touched.
func TestTouchedAfter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := &site[struct{}]{touched: map[Key]uint64{}}
		last := map[Key]uint64{}
		sequence := uint64(0)
		for range rapid.IntRange(0, 400).Draw(t, "commits") {
			sequence += rapid.Uint64Range(1, 3).Draw(t, "gap")
			if rapid.IntRange(0, 50).Draw(t, "forget") == 0 {
				s.forget()
				clear(last)
			}
			for range rapid.IntRange(0, 9).Draw(t, "rows") {
				key := Key{Model: "m", ID: fmt.Sprint(rapid.IntRange(0, 12).Draw(t, "row"))}
				s.touch(key, sequence)
				last[key] = sequence
			}
		}
		after := rapid.Uint64Range(0, sequence+1).Draw(t, "after")
		maps.DeleteFunc(last, func(_ Key, at uint64) bool { return at <= after })
		byID := func(a, b Key) int { return strings.Compare(a.ID, b.ID) }
		got := slices.SortedFunc(slices.Values(s.touchedAfter(after)), byID)
		if want := slices.SortedFunc(maps.Keys(last), byID); !slices.Equal(got, want) {
			t.Fatalf("after %d: got %v, want %v", after, got, want)
		}
		if most := 2*len(s.touched) + stepRows + 10; len(s.recent) > most {
			t.Fatalf("%d places are kept for %d rows", len(s.recent), len(s.touched))
		}
	})
}
