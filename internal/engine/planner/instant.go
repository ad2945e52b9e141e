package planner

import "time"

// instant is nanoseconds since the Unix epoch: exact, and cheap to compare.
type instant int64

func at(t time.Time) instant { return instant(t.UnixNano()) }

func (i instant) add(d time.Duration) instant { return i + instant(d) }

func (i instant) sub(j instant) time.Duration { return time.Duration(i - j) }

func (i instant) time(zone *time.Location) time.Time { return time.Unix(0, int64(i)).In(zone) }

// ceil rounds up to a multiple of grid; a grid of zero changes nothing.
func (i instant) ceil(grid time.Duration) instant {
	g := instant(grid)
	if g <= 0 {
		return i
	}
	if rest := ((i % g) + g) % g; rest != 0 {
		return i + g - rest
	}
	return i
}

// floor rounds down to a multiple of grid; a grid of zero changes nothing.
func (i instant) floor(grid time.Duration) instant {
	g := instant(grid)
	if g <= 0 {
		return i
	}
	return i - ((i%g)+g)%g
}

// span is half-open: [start, end).
type span struct{ start, end instant }

func (s span) overlaps(o span) bool { return s.start < o.end && o.start < s.end }

func spanOf(i Interval) span { return span{at(i.Start), at(i.End)} }

func (s span) interval(zone *time.Location) Interval {
	return Interval{Start: s.start.time(zone), End: s.end.time(zone)}
}
