package planner

import (
	"sort"
	"time"
)

// Hours are the times at which anybody is there. Delays are counted in them: what is
// done at eight in the morning instead of at five the day before is not fifteen hours late.
type Hours struct {
	open *windows
	zone *time.Location
}

// HoursOf gives the hours of some people within a range, with shifts read on the wall
// clock of the zone (nil: UTC). Where none of them is ever there every moment counts,
// or no delay could be told at all.
func HoursOf(people []Calendar, within Interval, zone *time.Location) Hours {
	if zone == nil {
		zone = time.UTC
	}
	var spans []span
	for _, c := range people {
		spans = append(spans, c.open(spanOf(within), zone).spans...)
	}
	if spans = merge(spans); len(spans) == 0 {
		spans = []span{spanOf(within)}
	}
	return Hours{newWindows(spans), zone}
}

// Between is the open time from a to b, negative if b comes first. Outside of the
// range nothing is open.
func (h Hours) Between(a, b time.Time) time.Duration {
	return h.open.until(at(b)) - h.open.until(at(a))
}

// After is the first moment that lies so much open time after t; for a negative d the
// last that lies so much before it. The range of the hours bounds it.
func (h Hours) After(t time.Time, d time.Duration) time.Time {
	if d == 0 {
		return t
	}
	spans, before := h.open.spans, h.open.before
	target := h.open.until(at(t)) + d
	i := sort.Search(len(spans), func(i int) bool { return before[i+1] > target || d > 0 && before[i+1] == target })
	switch {
	case target < 0:
		return spans[0].start.time(h.zone)
	case i < len(spans):
		return spans[i].start.add(target - before[i]).time(h.zone)
	case d > 0 && t.After(spans[i-1].end.time(h.zone)):
		return t
	default:
		return spans[i-1].end.time(h.zone)
	}
}

// until is the work that fits into the windows before t.
func (w *windows) until(t instant) time.Duration {
	i := w.index(t)
	if i == len(w.spans) {
		return w.before[i]
	}
	return w.before[i] + max(0, t.sub(w.spans[i].start))
}
