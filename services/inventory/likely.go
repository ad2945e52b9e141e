package inventory

import (
	"math"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/engine/replenish"
)

// likelyBy is the probability with which something is there by the day that is told.
const likelyBy = 0.8

// promised is the day of the delivery that completes a line, and a day by which
// it is there likely; nil: it is not all on order, or nothing is known.
type promised struct{ eta, likely *timestamppb.Timestamp }

// likely is the day by which all deliveries of a line are there with a
// probability, as late as their suppliers' last ones came; never before the day
// that is told anyway. nil: nothing is known of any of these suppliers.
func (d *draft) likely(from []coming, eta *timestamppb.Timestamp) *timestamppb.Timestamp {
	if len(from) == 1 { // so it is for most lines of a long queue
		alone := coming{supplier: from[0].supplier, at: from[0].at}
		if day, asked := d.likelyDays[alone]; asked {
			return later(eta, day)
		}
		d.likelyDays[alone] = d.likelyDay(from, eta)
		return later(eta, d.likelyDays[alone])
	}
	return later(eta, d.likelyDay(from, eta))
}

// later moves what is told to a day after it; nil: that day is not known.
func later(eta *timestamppb.Timestamp, day int) *timestamppb.Timestamp {
	if day == noDay {
		return nil
	}
	if late := day - dayNumber(eta.AsTime()); late > 0 {
		return timestamppb.New(eta.AsTime().AddDate(0, 0, late))
	}
	return eta
}

// noDay is the day of what nothing is known of.
const noDay = math.MinInt

func (d *draft) likelyDay(from []coming, eta *timestamppb.Timestamp) int {
	var arrivals []replenish.Arrival
	var quantity int64
	known := false
	for _, c := range from {
		a := replenish.Arrival{Quantity: c.quantity, Day: dayNumber(c.at), Lateness: d.st.suppliers.lateness(c.supplier)}
		a.Lateness = stillPossible(a, dayNumber(d.in.Now))
		known = known || len(a.Lateness) > 0
		if len(a.Lateness) == 0 {
			a.Day = max(a.Day, dayNumber(eta.AsTime()))
		}
		arrivals = append(arrivals, a)
		quantity += c.quantity
	}
	if !known {
		return noDay
	}
	day, there, err := replenish.ArrivalDay(arrivals, quantity, likelyBy)
	if err != nil || !there { // more deliveries than can be computed with
		return noDay
	}
	return day
}

// stillPossible keeps of a supplier's past those that came later than this one is
// late already.
func stillPossible(a replenish.Arrival, today int) []int {
	if a.Day >= today {
		return a.Lateness
	}
	var later []int
	for _, days := range a.Lateness {
		if a.Day+days >= today {
			later = append(later, days)
		}
	}
	return later
}

// likelyLeadEnd is when a part is there likely if it is ordered now; nil: nothing
// is known of its usual supplier.
func (d *draft) likelyLeadEnd(number string) *timestamppb.Timestamp {
	return d.st.suppliers.likelyAfter(d.st.parts[number].about.GetSupplier(), d.leadEnd(number))
}

// likelyAfter moves a day of a supplier to one by which it is there likely.
func (s *suppliers) likelyAfter(supplier string, expected time.Time) *timestamppb.Timestamp {
	return likelyFrom(s.lateness(supplier), expected)
}

// likelyFrom does so with the days by which deliveries were late.
func likelyFrom(late []int, expected time.Time) *timestamppb.Timestamp {
	if late == nil {
		return nil
	}
	day, there, err := replenish.ArrivalDay([]replenish.Arrival{{Quantity: 1, Lateness: late}}, 1, likelyBy)
	if err != nil || !there {
		return nil
	}
	return timestamppb.New(expected.AddDate(0, 0, max(0, day)))
}
