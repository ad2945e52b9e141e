package scheduling

import (
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/engine/planner"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// promiseStep is by how much a promise must be wrong to be changed: a customer is not
// called for five minutes.
const promiseStep = 15 * time.Minute

// foresee lets the plan of a problem run, unless it is what is booked already.
func (d *draft) foresee(p planner.Problem, plan planner.Plan, o order) error {
	changed := o.starting != "" || len(o.asked) > 0 || o.respread
	for _, at := range plan.Placements {
		changed = changed || !at.Kept
	}
	d.outlooks = nil
	if !changed {
		return nil
	}
	var err error
	d.outlooks, err = planner.Foresee(p, plan, func(job string) planner.Spread {
		return spreadIn(d.state.open[job].demand)
	})
	return err
}

// spreadIn is how long a demand's work may take; P80 is what it is booked for.
func spreadIn(demand *schedulingv1.Demand) planner.Spread {
	s := planner.Spread{P80: effortOf(demand.GetEffort()), P50: demand.GetEffort().GetP50().AsDuration()}
	if s.P50 <= 0 || s.P50 > s.P80 {
		s.P50 = s.P80
	}
	return s
}

// promise is what a booking is promised for: what was said already, if that is still
// about right.
func (d *draft) promise(w *work, p planner.Placement) *timestamppb.Timestamp {
	said := timeOf(w.booking.GetPromised())
	if d.outlooks == nil && !said.IsZero() {
		return w.booking.GetPromised()
	}
	promise := promised(p, d.outlooks)
	if off := promise.Sub(said); !said.IsZero() && off > -promiseStep && off < promiseStep && !said.Before(p.When.End) {
		return w.booking.GetPromised()
	}
	return stamp(promise)
}

// promised is when a placement is done in four of five runs, to the minute and never
// before its end.
func promised(p planner.Placement, outlooks map[string]planner.Outlook) time.Time {
	promise := outlooks[p.Job].P80
	if rest := promise.Truncate(time.Minute); rest.Before(promise) {
		promise = rest.Add(time.Minute)
	}
	if promise.Before(p.When.End) {
		return p.When.End
	}
	return promise
}

// promiseAnew says that a booking which stays will be done later than was promised.
// That it may be done sooner changes no promise.
func (d *draft) promiseAnew(old, b *schedulingv1.Booking, o order) {
	if !timeOf(b.GetPromised()).After(timeOf(old.GetPromised())) {
		return
	}
	b = clone(b)
	b.Reason = old.GetReason()
	d.add(&schedulingv1.PromiseChanged{
		Booking: b, From: old.GetPromised(),
		Reason: orElse(o.cause, "time has passed") + "; those before it may keep it waiting",
	})
}
