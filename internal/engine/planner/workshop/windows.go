package workshop

import "sort"

// span is [start, end) in ticks after now.
type span struct{ start, end int }

func (s span) overlaps(o span) bool { return s.start < o.end && o.start < s.end }

// windows are the times at which work can go on: sorted, apart, not empty.
type windows struct {
	spans []span
	// before[i] is the work that fits into spans[:i].
	before []int
	// first[t>>stride] is the first window that can end after t: it is asked all the time.
	first []int32
}

// stride makes a step of windows.first 32 ticks.
const stride = 5

func newWindows(spans []span) *windows {
	w := &windows{spans: spans, before: make([]int, len(spans)+1)}
	for i, s := range spans {
		w.before[i+1] = w.before[i] + s.end - s.start
		for len(w.first)<<stride < s.end {
			w.first = append(w.first, int32(i))
		}
	}
	return w
}

// index gives the first window that ends after t.
func (w *windows) index(t int) int {
	at := max(0, t) >> stride
	if at >= len(w.first) {
		return len(w.spans)
	}
	i := int(w.first[at])
	for i < len(w.spans) && w.spans[i].end <= t {
		i++
	}
	return i
}

// earliest gives the first start from t on at which so much work can begin, and its end.
func (w *windows) earliest(t, work int, whole bool) (span, bool) {
	for i := w.index(t); i < len(w.spans); i++ {
		start := max(t, w.spans[i].start)
		if w.spans[i].end-start >= work {
			return span{start, start + work}, true
		}
		if whole {
			continue
		}
		target := w.before[i] + start - w.spans[i].start + work
		j := i + 1 // most work goes on in the next window
		for j < len(w.spans) && w.before[j+1] < target {
			j++
		}
		if j == len(w.spans) {
			return span{}, false
		}
		return span{start, w.spans[j].start + target - w.before[j]}, true
	}
	return span{}, false
}

// latest gives the last start at which so much work is done by t, and its end.
func (w *windows) latest(t, work int, whole bool) (span, bool) {
	i := sort.Search(len(w.spans), func(i int) bool { return w.spans[i].start >= t }) - 1
	for ; i >= 0; i-- {
		end := min(t, w.spans[i].end)
		if end-w.spans[i].start >= work {
			return span{end - work, end}, true
		}
		if whole {
			continue
		}
		target := w.before[i] + end - w.spans[i].start - work // work done before the start
		if target < 0 {
			return span{}, false
		}
		j := sort.Search(i+1, func(j int) bool { return w.before[j+1] > target })
		return span{w.spans[j].start + target - w.before[j], end}, true
	}
	return span{}, false
}

func intersect(a, b []span) []span {
	var both []span
	for i, j := 0, 0; i < len(a) && j < len(b); {
		if s := (span{max(a[i].start, b[j].start), min(a[i].end, b[j].end)}); s.start < s.end {
			both = append(both, s)
		}
		if a[i].end < b[j].end {
			i++
		} else {
			j++
		}
	}
	return both
}
