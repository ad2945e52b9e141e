package month

import (
	"time"

	"ramprow/internal/engine/planner"
)

// record is what the workshop remembers of its promises, from month to month. It knows
// what was foreseen and when cars were done, and nothing of how months are drawn.
type record struct {
	hours planner.Hours
	// before is how promises of earlier months turned out, said those of this month.
	before []planner.Turned
	said   []promise
}

// promise is the first one that a car got, and what the runs of the plan foresaw then.
type promise struct {
	w        *work
	foreseen time.Time
}

func newRecord() *record {
	everybody := planner.Calendar{}
	for weekday := time.Monday; weekday <= time.Friday; weekday++ {
		everybody.Shifts = append(everybody.Shifts, shifts(weekday)...)
	}
	return &record{hours: planner.HoursOf([]planner.Calendar{everybody},
		planner.Interval{Start: day(-10), End: day(workdays + sparedays + 60)}, nil)}
}

// say promises a car: what is foreseen, with what has been learned until now.
func (r *record) say(w *work, now time.Time, p said) time.Time {
	m := planner.MarginOf(r.turned(now), planner.Promised)
	r.said = append(r.said, promise{w, p.foreseen})
	return later(r.hours.After(p.foreseen, m.Add), p.planned)
}

// turned are the newest promises whose time has come.
func (r *record) turned(now time.Time) []planner.Turned {
	past := r.before
	for _, p := range r.said {
		switch {
		case p.foreseen.After(now):
		case p.w.ended.IsZero():
			past = append(past, planner.Turned{Open: true})
		default:
			past = append(past, planner.Turned{Late: r.hours.Between(p.foreseen, p.w.ended)})
		}
	}
	return past[max(0, len(past)-planner.Remembered):]
}

// end closes a month.
func (r *record) end(now time.Time) {
	r.before, r.said = append([]planner.Turned(nil), r.turned(now)...), nil
}
