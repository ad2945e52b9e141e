package inventory

import (
	"time"

	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// usage is what jobs took of a part per week, as the history that proposals
// are computed from. Only weeks with movements are kept, and a year of them.
type usage struct {
	first int64 // week of the first movement
	weeks []weekUse
}

type weekUse struct {
	week  int64
	taken int64
}

const (
	week       = 7 * 24 * time.Hour
	usageWeeks = 52
)

// weekOf numbers weeks from the epoch on.
func weekOf(t time.Time) int64 { return t.Unix() / int64(week/time.Second) }

// note adds a movement. Receipts and counts are no demand, but begin the history.
func (u *usage) note(m *inventoryv1.Movement) {
	at := weekOf(m.GetAt().AsTime())
	if u.first == 0 {
		u.first = at
	}
	if m.GetKind() != inventoryv1.MovementKind_MOVEMENT_KIND_ISSUED &&
		m.GetKind() != inventoryv1.MovementKind_MOVEMENT_KIND_RETURNED {
		return
	}
	last := len(u.weeks) - 1
	// A clock that went back adds to the newest week.
	if last >= 0 && u.weeks[last].week >= at {
		u.weeks[last].taken -= m.GetQuantity()
		return
	}
	u.weeks = append(u.weeks, weekUse{week: at, taken: -m.GetQuantity()})
	if len(u.weeks) > usageWeeks {
		u.weeks = append([]weekUse(nil), u.weeks[1:]...)
	}
}

// history gives the demand of each full week before now, oldest first. More
// brought back than taken counts as no demand.
func (u *usage) history(now time.Time) []float64 {
	end := weekOf(now)
	start := max(u.first, end-usageWeeks)
	if u.first == 0 || start >= end {
		return nil
	}
	history := make([]float64, end-start)
	for _, w := range u.weeks {
		if w.week >= start && w.week < end {
			history[w.week-start] = float64(max(0, w.taken))
		}
	}
	return history
}
