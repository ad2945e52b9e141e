package invariants

import (
	"maps"
	"slices"

	"google.golang.org/protobuf/proto"

	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// board: after every commit no bay, person or tool is booked for two jobs at
// once, and work that has begun keeps its bay and its beginning.
func board(f *findings, logs Logs, _ []Ack) {
	bookings := map[string]*schedulingv1.Booking{}
	for _, c := range logs["scheduling"] {
		for _, events := range c.Events {
			for _, m := range events {
				of, ok := m.(interface {
					GetBooking() *schedulingv1.Booking
				})
				if !ok {
					continue
				}
				b := of.GetBooking()
				stays(f, c, bookings[b.GetJob()], b)
				bookings[b.GetJob()] = b
			}
		}
		apart(f, c, bookings)
	}
}

// stays checks what may not change once work has begun.
func stays(f *findings, c Commit, before, after *schedulingv1.Booking) {
	if before.GetState() != schedulingv1.BookingState_BOOKING_STATE_STARTED || after.GetState() != schedulingv1.BookingState_BOOKING_STATE_STARTED {
		return
	}
	if before.GetBay() != "" && before.GetBay() != after.GetBay() || !proto.Equal(before.GetStartedAt(), after.GetStartedAt()) {
		f.add("%s had begun in %s and is moved to %s at sequence %d", after.GetJob(), before.GetBay(), after.GetBay(), c.Sequence)
	}
}

func apart(f *findings, c Commit, bookings map[string]*schedulingv1.Booking) {
	jobs := slices.Sorted(maps.Keys(bookings))
	for i, one := range jobs {
		for _, other := range jobs[i+1:] {
			a, b := bookings[one], bookings[other]
			if !occupies(a) || !occupies(b) || !overlap(a, b) {
				continue
			}
			for _, r := range used(a) {
				if slices.Contains(used(b), r) {
					f.add("%s is booked for %s and for %s at sequence %d", r, one, other, c.Sequence)
				}
			}
		}
	}
}

func occupies(b *schedulingv1.Booking) bool {
	state := b.GetState()
	return state == schedulingv1.BookingState_BOOKING_STATE_BOOKED || state == schedulingv1.BookingState_BOOKING_STATE_STARTED
}

func overlap(a, b *schedulingv1.Booking) bool {
	x, y := a.GetWhen(), b.GetWhen()
	return x.GetStart().AsTime().Before(y.GetEnd().AsTime()) && y.GetStart().AsTime().Before(x.GetEnd().AsTime())
}

func used(b *schedulingv1.Booking) []string {
	list := slices.Clone(b.GetTools())
	for _, name := range []string{b.GetBay(), b.GetTechnician()} {
		if name != "" {
			list = append(list, name)
		}
	}
	return list
}
