package scheduling

import (
	"reflect"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"

	"ramprow/internal/platform/sitelog"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// react decides what another service's event brings about here.
func react(st *State, f sitelog.Foreign, in sitelog.Input) ([]proto.Message, error) {
	if m, ok := f.Message.(interface{ GetJob() string }); ok {
		if f := st.archived(m.GetJob()); f != nil {
			return nil, f
		}
	}
	switch m := f.Message.(type) {
	case *jobv1.DiagnosisConfirmed:
		return st.confirm(m, in)
	case *jobv1.PlanRevised:
		return st.revise(m, in)
	case *jobv1.AppointmentChanged:
		return st.reappoint(m, in)
	case *jobv1.VehicleReceived:
		return st.arrive(m, in)
	case *jobv1.StepStarted:
		return st.begin(m, in)
	case *jobv1.StepDone:
		return st.progress(m, in)
	case *jobv1.WorkFinished:
		return st.finish(m.GetJob(), in)
	case *jobv1.InvoiceClosed:
		return st.finish(m.GetJob(), in)
	case *jobv1.JobCancelled:
		return st.cancel(m, in)
	case *inventoryv1.PartsHeld:
		return st.hear(m.GetJob(), m.GetHold(), in)
	case *inventoryv1.PartsShort:
		return st.hear(m.GetJob(), m.GetHold(), in)
	case *inventoryv1.HoldNarrowed:
		return st.hear(m.GetJob(), m.GetHold(), in)
	case *inventoryv1.PartsIssued:
		return st.hear(m.GetJob(), m.GetHold(), in)
	case *inventoryv1.PartsReturned:
		return st.hear(m.GetJob(), m.GetHold(), in)
	case *inventoryv1.HoldReleased:
		return st.unheld(m, in)
	}
	return nil, nil
}

// noted keeps a demand, and plans anew if that makes a difference to any plan. A
// job that waited and still waits, or is as the planner knew it, makes none: what
// time alone has changed is for the timer.
func (st *State) noted(demand *schedulingv1.Demand, cause string, in sitelog.Input) ([]proto.Message, error) {
	o, job := order{cause: cause}, demand.GetJob()
	if old := st.open[job]; old != nil && old.onBoard() {
		o.respread = spreadIn(old.demand) != spreadIn(demand)
	}
	d := newDraft(st, in)
	d.add(&schedulingv1.DemandNoted{Demand: demand})
	switch w := d.state.open[job]; {
	case w.onBoard() && !w.placeable(), o.respread, !reflect.DeepEqual(st.wanted(job, in.Now), d.state.wanted(job, in.Now)):
		_, err := d.replan(o)
		return d.events, err
	case !w.placeable() && demand.GetPlanRevision() > 0:
		d.wait(w, w.waitsFor(), o)
	}
	return d.events, nil
}

func (st *State) confirm(m *jobv1.DiagnosisConfirmed, in sitelog.Input) ([]proto.Message, error) {
	demand := st.known(m.GetJob())
	if m.GetPlan().GetRevision() <= demand.GetPlanRevision() {
		return nil, nil
	}
	wantPlan(demand, m.GetPlan(), in.Now)
	demand.Title, demand.Priority = m.GetTitle(), m.GetPriority()
	demand.EarliestStart, demand.WantedBy = m.GetEarliestStart(), m.GetWantedBy()
	return st.noted(demand, "its diagnosis was confirmed", in)
}

func (st *State) revise(m *jobv1.PlanRevised, in sitelog.Input) ([]proto.Message, error) {
	demand := st.known(m.GetJob())
	if m.GetPlan().GetRevision() <= demand.GetPlanRevision() {
		return nil, nil
	}
	wantPlan(demand, m.GetPlan(), in.Now)
	return st.noted(demand, "the plan of "+m.GetJob()+" was revised ("+m.GetReason()+")", in)
}

// reappoint hears that a car comes at another time, or is more or less urgent. A job
// that is not confirmed yet brings it along when it is.
func (st *State) reappoint(m *jobv1.AppointmentChanged, in sitelog.Input) ([]proto.Message, error) {
	w := st.open[m.GetJob()]
	if w == nil || w.demand.GetPlanRevision() == 0 {
		return nil, nil
	}
	demand := clone(w.demand)
	demand.WantedBy, demand.Priority = m.GetWantedBy(), m.GetPriority()
	if m.GetExpectedAt() != nil {
		demand.EarliestStart = m.GetExpectedAt()
	}
	return st.noted(demand, "the appointment of "+m.GetJob()+" changed ("+m.GetReason()+")", in)
}

// arrive hears that a car is here, which may be before it was expected.
func (st *State) arrive(m *jobv1.VehicleReceived, in sitelog.Input) ([]proto.Message, error) {
	w := st.open[m.GetJob()]
	if w == nil || !timeOf(w.demand.GetEarliestStart()).After(in.Now) {
		return nil, nil
	}
	demand := clone(w.demand)
	demand.EarliestStart = stamp(in.Now)
	return st.noted(demand, "the car of "+m.GetJob()+" is here", in)
}

// begin freezes a booking the first time that somebody works at the car.
func (st *State) begin(m *jobv1.StepStarted, in sitelog.Input) ([]proto.Message, error) {
	w := st.open[m.GetJob()]
	if w == nil || w.started() || w.demand.GetPlanRevision() == 0 {
		return nil, nil
	}
	d := newDraft(st, in)
	_, err := d.replan(order{cause: m.GetJob() + " was begun", starting: m.GetJob()})
	return d.events, err
}

func (st *State) progress(m *jobv1.StepDone, in sitelog.Input) ([]proto.Message, error) {
	w := st.open[m.GetJob()]
	if w == nil || !w.started() || m.GetLeft() == nil {
		return nil, nil
	}
	demand := clone(w.demand)
	leaveLeft(demand, m, in.Now)
	return st.noted(demand, "a step of "+m.GetJob()+" was done", in)
}

func (st *State) finish(job string, in sitelog.Input) ([]proto.Message, error) {
	w := st.open[job]
	if w == nil {
		return nil, nil
	}
	b := st.closing(w, schedulingv1.BookingState_BOOKING_STATE_FINISHED)
	event := &schedulingv1.BookingFinished{Booking: b}
	if w.started() {
		b.FinishedAt = stamp(in.Now)
		b.When = interval(timeOf(b.GetStartedAt()), in.Now)
		event.InBay = durationpb.New(in.Now.Sub(timeOf(b.GetStartedAt())))
		st.turnedOut(event, in.Now)
	}
	return st.ending(job, event, job+" is finished", in)
}

func (st *State) cancel(m *jobv1.JobCancelled, in sitelog.Input) ([]proto.Message, error) {
	w := st.open[m.GetJob()]
	if w == nil {
		return nil, nil
	}
	b := st.closing(w, schedulingv1.BookingState_BOOKING_STATE_CANCELLED)
	return st.ending(m.GetJob(), &schedulingv1.BookingCancelled{Booking: b, Reason: m.GetReason()}, m.GetJob()+" was cancelled", in)
}

// closing is a job's booking in its last state.
func (st *State) closing(w *work, last schedulingv1.BookingState) *schedulingv1.Booking {
	job := w.demand.GetJob()
	b := &schedulingv1.Booking{Name: bookingName(job), Job: job}
	describe(b, w.demand)
	if w.booking != nil {
		b = clone(w.booking)
	}
	b.State, b.WaitingFor = last, ""
	return b
}

// ending takes a job off the board, and gives to others what it held.
func (st *State) ending(job string, event proto.Message, cause string, in sitelog.Input) ([]proto.Message, error) {
	d := newDraft(st, in)
	d.add(event)
	if w := st.open[job]; !w.onBoard() && !w.placeable() {
		return d.events, nil // it held nothing that others could have
	}
	_, err := d.replan(order{cause: cause})
	return d.events, err
}

// hear notes what inventory says. It may come before the plan that it is about;
// what is about an older plan is of no interest.
func (st *State) hear(job string, hold *inventoryv1.Hold, in sitelog.Input) ([]proto.Message, error) {
	demand := st.answered(job, hold)
	if demand == nil {
		return nil, nil
	}
	before := clone(demand)
	hearParts(demand, hold)
	if proto.Equal(before, demand) {
		return nil, nil
	}
	return st.noted(demand, "what is known of the parts of "+job+" changed", in)
}

func (st *State) unheld(m *inventoryv1.HoldReleased, in sitelog.Input) ([]proto.Message, error) {
	demand := st.answered(m.GetJob(), m.GetHold())
	if demand == nil {
		return nil, nil
	}
	loseParts(demand, m)
	return st.noted(demand, "the parts of "+m.GetJob()+" are no longer held", in)
}

// answered is the demand that a hold is about; nil if it is stale, or the job is over.
func (st *State) answered(job string, hold *inventoryv1.Hold) *schedulingv1.Demand {
	if w := st.open[job]; w != nil {
		if hold.GetPlanRevision() < w.demand.GetPartsRevision() {
			return nil
		}
		return clone(w.demand)
	}
	if over := st.ended[job]; over != nil && hold.GetPlanRevision() <= over.demand.GetPlanRevision() {
		return nil
	}
	return &schedulingv1.Demand{Job: job}
}
