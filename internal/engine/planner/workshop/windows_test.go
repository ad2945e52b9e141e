package workshop

import (
	"testing"

	"pgregory.net/rapid"
)

// TestWindowsAgainstCountingTicks: index and earliest against walking through every tick.
func TestWindowsAgainstCountingTicks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const horizon = 200
		open := rapid.SliceOfN(rapid.SampledFrom([]bool{true, true, true, false}), horizon, horizon).Draw(t, "open")
		var spans []span
		for tick, is := range open {
			switch n := len(spans); {
			case !is:
			case n > 0 && spans[n-1].end == tick:
				spans[n-1].end++
			default:
				spans = append(spans, span{tick, tick + 1})
			}
		}
		w := newWindows(spans)
		from, work, whole := rapid.IntRange(-3, horizon+3).Draw(t, "from"), rapid.IntRange(1, 12).Draw(t, "work"), rapid.Bool().Draw(t, "whole")
		want := 0
		for want < len(spans) && spans[want].end <= from {
			want++
		}
		if got := w.index(from); got != want {
			t.Fatalf("the first window that ends after %d is %d, not %d", from, want, got)
		}
		got, ok := w.earliest(from, work, whole)
		when, possible := counted(open, from, work, whole)
		if ok != possible || ok && got != when {
			t.Fatalf("%d ticks of work from %d (whole: %v): %v %v, counted %v %v", work, from, whole, got, ok, when, possible)
		}
	})
}

// counted tries every start and counts the open ticks from there.
func counted(open []bool, from, work int, whole bool) (span, bool) {
	for start := max(0, from); start < len(open); start++ {
		left := work
		for tick := start; tick < len(open) && (open[tick] || tick > start && !whole); tick++ {
			if open[tick] {
				left--
			}
			if left == 0 {
				return span{start, tick + 1}, true
			}
		}
	}
	return span{}, false
}
