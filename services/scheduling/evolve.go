package scheduling

import (
	"slices"
	"time"

	"ramprow/internal/platform/shelf"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/workhours"
	logv1 "ramprow/proto/ramprow/log/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// blocksKept is how long a block that is over is still shown.
const blocksKept = 31 * 24 * time.Hour

// evolve applies one event. Events of another build are left alone.
func evolve(st *State, e sitelog.Event) {
	switch m := e.Message.(type) {
	case *schedulingv1.ResourceSet:
		st.resources[m.GetResource().GetName()] = m.GetResource()
	case *schedulingv1.ResourceBlocked:
		st.blocks++
		st.changeResource(m.GetResource(), func(r *schedulingv1.Resource) {
			r.Blocks = slices.DeleteFunc(r.GetBlocks(), func(b *schedulingv1.Block) bool {
				return timeOf(b.GetWhen().GetEnd()).Add(blocksKept).Before(e.Time)
			})
			r.Blocks = append(r.Blocks, m.GetBlock())
		})
	case *schedulingv1.ResourceUnblocked:
		st.changeResource(m.GetResource(), func(r *schedulingv1.Resource) {
			r.Blocks = slices.DeleteFunc(r.GetBlocks(), func(b *schedulingv1.Block) bool { return b.GetId() == m.GetBlock() })
		})
	case *schedulingv1.RosterSet:
		st.changeResource(m.GetResource(), func(r *schedulingv1.Resource) {
			setRoster(r, m.GetRoster(), workhours.DayAt(e.Time.Add(-blocksKept), st.zone))
		})
	case *schedulingv1.RosterRemoved:
		st.changeResource(m.GetResource(), func(r *schedulingv1.Resource) { dropRoster(r, m.GetFrom()) })
	case *schedulingv1.OvertimePlanned:
		st.entries++
		st.changeResource(m.GetResource(), func(r *schedulingv1.Resource) { addOvertime(r, m.GetOvertime(), e.Time.Add(-blocksKept)) })
	case *schedulingv1.OvertimeWithdrawn:
		st.changeResource(m.GetResource(), func(r *schedulingv1.Resource) { dropOvertime(r, m.GetOvertime()) })
	case *schedulingv1.MaintenancePlanned:
		st.entries++
		st.changeResource(m.GetResource(), func(r *schedulingv1.Resource) { r.Maintenance = append(r.GetMaintenance(), m.GetMaintenance()) })
	case *schedulingv1.MaintenanceEnded:
		st.changeResource(m.GetResource(), func(r *schedulingv1.Resource) { dropMaintenance(r, m.GetMaintenance()) })
	case *schedulingv1.ClosedDaySet:
		st.closeDay(m.GetClosedDay(), workhours.DayAt(e.Time.Add(-blocksKept), st.zone))
	case *schedulingv1.ClosedDayRemoved:
		delete(st.closedDays, m.GetClosedDay())
	case *schedulingv1.CalendarRenewed:
		st.changeResource(m.GetResource(), func(r *schedulingv1.Resource) { r.Calendar++ })
	case *schedulingv1.ZoneSet:
		st.zone = workhours.Zone(m.GetZone())
	case *schedulingv1.DemandNoted:
		st.note(m.GetDemand())
	case *schedulingv1.BookingMade:
		st.book(m.GetBooking())
	case *schedulingv1.BookingMoved:
		st.book(m.GetBooking())
	case *schedulingv1.PromiseChanged:
		st.book(m.GetBooking())
	case *schedulingv1.BookingWaits:
		st.book(m.GetBooking())
	case *schedulingv1.BookingStarted:
		st.book(m.GetBooking())
	case *schedulingv1.BookingPinned:
		st.pin(m.GetBooking(), true, m.GetReason())
	case *schedulingv1.BookingUnpinned:
		st.pin(m.GetBooking(), false, "")
	case *schedulingv1.MoveMade:
		st.moveMade(m, e.Time)
	case *schedulingv1.MoveUndone:
		st.moveUndone(m.GetMove())
	case *schedulingv1.BookingFinished:
		st.end(m.GetBooking(), e.Time)
		st.learned = st.learned.finished(m)
	case *schedulingv1.BookingCancelled:
		st.end(m.GetBooking(), e.Time)
	case *logv1.Archived:
		st.archive(m, e.Number, e.Time)
	case *logv1.Recalled:
		st.recall(m, e.Time)
	}
}

func (st *State) changeResource(name string, change func(*schedulingv1.Resource)) {
	if r, ok := st.resources[name]; ok {
		r = clone(r)
		change(r)
		st.resources[name] = r
	}
}

// note keeps a demand; what the booking repeats of it follows.
func (st *State) note(demand *schedulingv1.Demand) {
	w := &work{demand: demand}
	if old := st.open[demand.GetJob()]; old != nil && old.booking != nil {
		w.booking = clone(old.booking)
		describe(w.booking, demand)
	}
	st.open[demand.GetJob()] = w
	st.shelf.Stay(shelf.Number(demand.GetJob()))
}

// describe writes into a booking what it repeats of the demand.
func describe(b *schedulingv1.Booking, d *schedulingv1.Demand) {
	b.Title, b.Effort, b.Shares = d.GetTitle(), d.GetEffort(), d.GetShares()
	b.PartsEta, b.PlanRevision, b.Priority = d.GetPartsEta(), d.GetPlanRevision(), d.GetPriority()
	b.EarliestStart, b.WantedBy = d.GetEarliestStart(), d.GetWantedBy()
}

func (st *State) book(b *schedulingv1.Booking) {
	w := work{demand: &schedulingv1.Demand{Job: b.GetJob()}}
	if old := st.open[b.GetJob()]; old != nil {
		w = *old
	}
	w.booking = b
	st.open[b.GetJob()] = &w
	st.shelf.Stay(shelf.Number(b.GetJob()))
}

func (st *State) pin(booking string, pinned bool, reason string) {
	for job, old := range st.open {
		if old.booking.GetName() != booking {
			continue
		}
		w := *old
		w.booking = clone(old.booking)
		w.booking.Pinned, w.booking.PinReason = pinned, reason
		st.open[job] = &w
	}
}

func (st *State) end(b *schedulingv1.Booking, at time.Time) {
	st.book(b)
	st.ended[b.GetJob()] = st.open[b.GetJob()]
	delete(st.open, b.GetJob())
	st.shelf.Settle(shelf.Number(b.GetJob()), at)
}
