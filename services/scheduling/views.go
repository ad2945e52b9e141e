package scheduling

import (
	"fmt"
	"time"

	"ramprow/internal/platform/readmodel"
	"ramprow/internal/platform/shelf"
	"ramprow/internal/platform/sitelog"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// The rows that readers get.
const (
	modelBooking  = "booking"
	modelResource = "resource"
	// modelSite has one row, as soon as there is anything to tell.
	modelSite = "site"
)

func siteKey() readmodel.Key { return readmodel.Key{Model: modelSite, ID: modelSite} }

// The indexes: bookings by start, and once for each day that they touch;
// resources by name, with their kind before it.
const (
	indexOpen    = "open"
	indexAll     = "all"
	indexDay     = "day"
	indexWaiting = "waiting"
)

// longestOnBoard bounds how many days of one booking are indexed.
const longestOnBoard = 60

// Projection says what readers see of the state.
func Projection() readmodel.Projection[*State] {
	return readmodel.Projection[*State]{
		Version: 2,
		Machine: Machine(),
		Models:  []string{modelBooking, modelResource, modelSite},
		Touched: touched,
		Row:     row,
		Keys:    keys,
		Archive: archive(),
	}
}

func touched(_ *State, e sitelog.Event) []readmodel.Key {
	switch m := e.Message.(type) {
	case *schedulingv1.ResourceSet:
		return []readmodel.Key{{Model: modelResource, ID: m.GetResource().GetName()}}
	case interface{ GetResource() string }: // what changes of it has an event of its own
		return []readmodel.Key{{Model: modelResource, ID: m.GetResource()}}
	case *schedulingv1.ZoneSet, *schedulingv1.ClosedDaySet, *schedulingv1.ClosedDayRemoved:
		return []readmodel.Key{siteKey()}
	case *schedulingv1.DemandNoted:
		return []readmodel.Key{bookingKey(m.GetDemand().GetJob())}
	case interface{ GetBooking() *schedulingv1.Booking }:
		return []readmodel.Key{bookingKey(m.GetBooking().GetJob())}
	case interface{ GetBooking() string }: // pinned and unpinned
		return []readmodel.Key{{Model: modelBooking, ID: m.GetBooking()}}
	}
	return nil
}

func bookingKey(job string) readmodel.Key {
	return readmodel.Key{Model: modelBooking, ID: bookingName(job)}
}

func row(st *State, key readmodel.Key) (readmodel.Row, bool) {
	if key.Model == modelResource {
		r, ok := st.resources[key.ID]
		return readmodel.Row{Value: r, Index: []readmodel.IndexEntry{{Name: indexAll, Order: kindPrefix(r.GetKind()) + r.GetName()}}}, ok
	}
	if key.Model == modelSite {
		return readmodel.Row{Value: st.siteCalendar()}, true
	}
	job := fmt.Sprintf("jobs/%d", shelf.Number(key.ID))
	w := st.open[job]
	if w == nil {
		w = st.ended[job]
	}
	if w == nil || w.booking == nil {
		return readmodel.Row{}, false
	}
	return readmodel.Row{Value: w.booking, Index: indexes(w.booking)}, true
}

// kindPrefix comes before a resource's name in the index.
func kindPrefix(k schedulingv1.ResourceKind) string { return fmt.Sprintf("%d/", k) }

func indexes(b *schedulingv1.Booking) []readmodel.IndexEntry {
	order := startOrder(b)
	entries := []readmodel.IndexEntry{{Name: indexAll, Order: order}}
	switch b.GetState() {
	case schedulingv1.BookingState_BOOKING_STATE_BOOKED, schedulingv1.BookingState_BOOKING_STATE_STARTED:
		entries = append(entries, readmodel.IndexEntry{Name: indexOpen, Order: order})
	case schedulingv1.BookingState_BOOKING_STATE_WAITING:
		return append(entries, readmodel.IndexEntry{Name: indexOpen, Order: order}, readmodel.IndexEntry{Name: indexWaiting, Order: order})
	case schedulingv1.BookingState_BOOKING_STATE_FINISHED:
	case schedulingv1.BookingState_BOOKING_STATE_CANCELLED, schedulingv1.BookingState_BOOKING_STATE_UNSPECIFIED:
		return entries
	}
	for _, day := range days(timeOf(b.GetWhen().GetStart()), timeOf(b.GetWhen().GetEnd())) {
		entries = append(entries, readmodel.IndexEntry{Name: indexDay, Order: day + " " + order})
	}
	return entries
}

// startOrder sorts by start; what has none comes last, by number.
func startOrder(b *schedulingv1.Booking) string {
	start := "9999"
	if b.GetWhen() != nil {
		start = timeOf(b.GetWhen().GetStart()).Format(time.RFC3339)
	}
	return fmt.Sprintf("%s %012d", start, shelf.Number(b.GetName()))
}

// days gives the days in UTC that [start, end) touches, from the first to at
// most longestOnBoard.
func days(start, end time.Time) []string {
	if start.IsZero() {
		return nil
	}
	list := []string{start.Format(time.DateOnly)}
	for day := start.Truncate(24*time.Hour).AddDate(0, 0, 1); day.Before(end) && len(list) < longestOnBoard; day = day.AddDate(0, 0, 1) {
		list = append(list, day.Format(time.DateOnly))
	}
	return list
}

func keys(st *State, model string) []readmodel.Key {
	var all []readmodel.Key
	if model == modelResource {
		for _, name := range st.resourceNames() {
			all = append(all, readmodel.Key{Model: model, ID: name})
		}
		return all
	}
	if model == modelSite {
		if st.zone == time.UTC && len(st.closedDays) == 0 {
			return nil
		}
		return []readmodel.Key{siteKey()}
	}
	for job := range st.open {
		all = append(all, bookingKey(job))
	}
	for job := range st.ended {
		if st.open[job] == nil {
			all = append(all, bookingKey(job))
		}
	}
	return all
}
