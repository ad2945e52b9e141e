package planner

import (
	"slices"
	"sort"
	"time"
)

// windows are the times at which work can go on: sorted, apart, not empty.
type windows struct {
	spans []span
	// before[i] is the work that fits into spans[:i].
	before []time.Duration
}

func newWindows(spans []span) *windows {
	w := &windows{spans: spans, before: make([]time.Duration, len(spans)+1)}
	for i, s := range spans {
		w.before[i+1] = w.before[i] + s.end.sub(s.start)
	}
	return w
}

// index gives the first window that ends after t.
func (w *windows) index(t instant) int {
	return sort.Search(len(w.spans), func(i int) bool { return w.spans[i].end > t })
}

// next gives the first open moment not before t.
func (w *windows) next(t instant) (instant, bool) {
	i := w.index(t)
	if i == len(w.spans) {
		return 0, false
	}
	return max(t, w.spans[i].start), true
}

// finish gives the moment at which work begun at t is done. Work of zero is done at once.
func (w *windows) finish(t instant, work time.Duration) (instant, bool) {
	if work <= 0 {
		return t, true
	}
	i := w.index(t)
	if i == len(w.spans) {
		return 0, false
	}
	// Count from the start of the window that holds t, or comes next.
	target := w.before[i] + max(0, t.sub(w.spans[i].start)) + work
	j := sort.Search(len(w.spans), func(j int) bool { return w.before[j+1] >= target })
	if j == len(w.spans) {
		return 0, false
	}
	return w.spans[j].start.add(target - w.before[j]), true
}

// intersect gives the times that are in both.
func intersect(a, b *windows) *windows {
	var both []span
	for i, j := 0, 0; i < len(a.spans) && j < len(b.spans); {
		s := span{max(a.spans[i].start, b.spans[j].start), min(a.spans[i].end, b.spans[j].end)}
		if s.start < s.end {
			both = append(both, s)
		}
		if a.spans[i].end < b.spans[j].end {
			i++
		} else {
			j++
		}
	}
	return newWindows(both)
}

// merge sorts spans and joins those that touch; empty ones are dropped.
func merge(spans []span) []span {
	slices.SortFunc(spans, func(a, b span) int { return int(min(1, max(-1, a.start-b.start))) })
	var out []span
	for _, s := range spans {
		switch {
		case s.end <= s.start:
		case len(out) > 0 && s.start <= out[len(out)-1].end:
			out[len(out)-1].end = max(out[len(out)-1].end, s.end)
		default:
			out = append(out, s)
		}
	}
	return out
}

// subtract takes the merged spans away from the merged spans from.
func subtract(from, away []span) []span {
	var out []span
	for _, s := range from {
		for _, a := range away {
			if a.end <= s.start || s.end <= a.start {
				continue
			}
			if s.start < a.start {
				out = append(out, span{s.start, a.start})
			}
			s.start = a.end
			if s.start >= s.end {
				break
			}
		}
		if s.start < s.end {
			out = append(out, s)
		}
	}
	return out
}
