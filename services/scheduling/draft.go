package scheduling

import (
	"fmt"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"

	"ramprow/internal/engine/planner"
	"ramprow/internal/platform/sitelog"
	commonv1 "ramprow/proto/ramprow/common/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// draft is a decision in the making: its events, and the state as it will be
// after them. The state that it came from is not touched.
type draft struct {
	state  *State
	in     sitelog.Input
	events []proto.Message
	// promiser makes promises of the new plan; nil: nothing has changed.
	promiser *promiser
	// starting is the job whose work begins with this decision.
	starting string
}

func newDraft(st *State, in sitelog.Input) *draft {
	return &draft{state: st.fork(), in: in}
}

func (d *draft) add(event proto.Message) {
	d.events = append(d.events, event)
	evolve(d.state, sitelog.Event{Message: event, Site: d.in.Site, Time: d.in.Now, Actor: d.in.Actor})
}

// unless gives the events, or none if the consequence shall only be shown.
func (d *draft) unless(onlyShown bool) []proto.Message {
	if onlyShown {
		return nil
	}
	return d.events
}

// outcome is what a new plan changed.
type outcome struct {
	// changes are the bookings other than those that were asked for.
	changes []*schedulingv1.Change
	// refused says why a job that was asked for cannot go where it should.
	refused *planner.Impossible
}

// replan plans the site anew and adds the difference. If what was asked for is
// impossible, nothing is added.
func (d *draft) replan(o order) (outcome, error) {
	p, plan, err := d.plan(o)
	if err != nil {
		return outcome{}, fmt.Errorf("the site cannot be planned: %w", err)
	}
	out := outcome{}
	waiting := map[string]string{}
	for _, u := range plan.Unplaced {
		if o.asks(u.Job) {
			return outcome{refused: u}, nil
		}
		waiting[u.Job] = u.Error()
	}
	placed := placements(plan)
	if err := d.foresee(p, plan, o); err != nil {
		return outcome{}, err
	}
	for _, job := range d.state.jobs() {
		w := d.state.open[job]
		var change *schedulingv1.Change
		if p, ok := placed[job]; ok {
			change = d.settle(w, p, o)
		} else if w.demand.GetPlanRevision() > 0 {
			change = d.wait(w, orElse(waiting[job], w.waitsFor()), o)
		}
		if change != nil && !o.asks(job) {
			out.changes = append(out.changes, change)
		}
	}
	return out, nil
}

// plan plans the site so that begun work ends after now, and not only in what
// was said of it before: an absence that is taken back moves its end to the past. It
// gives what was planned, too.
func (d *draft) plan(o order) (planner.Problem, planner.Plan, error) {
	d.stretch(func(w *work) time.Time { return timeOf(w.booking.GetWhen().GetEnd()) })
	p := d.state.problem(d.in.Now, o)
	plan, err := planner.Make(p)
	if err != nil {
		return p, plan, err
	}
	placed := placements(plan)
	if !d.stretch(func(w *work) time.Time { return placed[w.demand.GetJob()].When.End }) {
		return p, plan, nil
	}
	p = d.state.problem(d.in.Now, o)
	plan, err = planner.Make(p)
	return p, plan, err
}

func placements(plan planner.Plan) map[string]planner.Placement {
	placed := map[string]planner.Placement{}
	for _, p := range plan.Placements {
		placed[p.Job] = p
	}
	return placed
}

// stretch gives begun work that is past its end a little more, so that the board
// never says that a bay is free while a car stands in it.
func (d *draft) stretch(end func(*work) time.Time) (stretched bool) {
	for _, job := range d.state.jobs() {
		w := d.state.open[job]
		if !w.started() || end(w).After(d.in.Now) {
			continue
		}
		demand := clone(w.demand)
		demand.Effort = spreadOf(overrunStep)
		demand.LeftSince = stamp(d.in.Now)
		demand.UntilPartsNeeded = nil
		d.add(&schedulingv1.DemandNoted{Demand: demand})
		stretched = true
	}
	return stretched
}

func spreadOf(t time.Duration) *commonv1.Spread {
	return &commonv1.Spread{Mean: durationpb.New(t), P50: durationpb.New(t), P80: durationpb.New(t)}
}

// settle turns a placement into an event, if it says anything new.
func (d *draft) settle(w *work, p planner.Placement, o order) *schedulingv1.Change {
	old := w.booking
	b := d.booking(w, p)
	switch {
	case p.Job == o.starting:
		b.State = schedulingv1.BookingState_BOOKING_STATE_STARTED
		b.StartedAt, b.Pinned, b.PinReason = stamp(d.in.Now), false, ""
		d.add(&schedulingv1.BookingStarted{Booking: b})
	case w.started():
		if samePlace(old, b) {
			d.promiseAnew(old, b, o)
			return nil
		}
		d.add(&schedulingv1.BookingMoved{Booking: b, From: old.GetWhen(), Reason: d.reason(w, p, o)})
	case !w.booked():
		b.State, b.Pinned = schedulingv1.BookingState_BOOKING_STATE_BOOKED, o.asked[p.Job].pin
		d.add(&schedulingv1.BookingMade{Booking: b})
	default:
		if a, ok := o.asked[p.Job]; ok {
			b.Pinned, b.PinReason = a.pin, a.pinReason
		}
		if samePlace(old, b) && old.GetPinned() == b.GetPinned() {
			d.promiseAnew(old, b, o)
			return nil
		}
		d.add(&schedulingv1.BookingMoved{Booking: b, From: old.GetWhen(), Reason: d.reason(w, p, o)})
	}
	return changeOf(old, b)
}

// booking is a job's booking as a placement has it.
func (d *draft) booking(w *work, p planner.Placement) *schedulingv1.Booking {
	b := &schedulingv1.Booking{Name: bookingName(p.Job), Job: p.Job, State: w.state()}
	if w.started() || w.booked() {
		b.StartedAt, b.Pinned, b.PinReason = w.booking.GetStartedAt(), w.booking.GetPinned(), w.booking.GetPinReason()
	}
	describe(b, w.demand)
	foreseenAs(b, w.booking)
	b.Bay, b.Technician, b.Tools = p.Bay, p.Person, p.Tools
	b.When = interval(p.When.Start, p.When.End)
	d.promise(b, w, p)
	b.Reason = orElse(p.Why, w.booking.GetReason())
	if p.Bay == "" || p.Person == "" {
		b.Reason = "begun, but what was booked for it is still with other begun work and nothing else is free; finish that first"
	}
	return b
}

// reason says why a booking moves: what has happened, and why it goes where it goes.
func (d *draft) reason(w *work, p planner.Placement, o order) string {
	cause := o.cause
	switch {
	case o.improved:
		return p.Why // the board shall say it too, so it begins with the cause
	case w.started() && cause == "":
		cause = "it takes longer than booked"
	case w.booked() && !timeOf(w.booking.GetWhen().GetStart()).Add(startGrace).After(d.in.Now):
		cause = "nobody has started it"
	case cause == "":
		cause = "others were moved"
	}
	if p.Why == "" {
		return cause
	}
	return cause + "; " + p.Why
}

// wait says what a job waits for, if it does not say so already.
func (d *draft) wait(w *work, why string, o order) *schedulingv1.Change {
	old := w.booking
	if old.GetState() == schedulingv1.BookingState_BOOKING_STATE_WAITING && old.GetWaitingFor() == why {
		return nil
	}
	job := w.demand.GetJob()
	b := &schedulingv1.Booking{
		Name: bookingName(job), Job: job, State: schedulingv1.BookingState_BOOKING_STATE_WAITING,
		WaitingFor: why, Reason: o.cause,
	}
	describe(b, w.demand)
	foreseenAs(b, old)
	d.add(&schedulingv1.BookingWaits{Booking: b})
	if !w.booked() {
		return nil
	}
	change := changeOf(old, b)
	change.Reason = why
	return change
}

func samePlace(a, b *schedulingv1.Booking) bool {
	return a.GetBay() == b.GetBay() && a.GetTechnician() == b.GetTechnician() &&
		fmt.Sprint(a.GetTools()) == fmt.Sprint(b.GetTools()) && proto.Equal(a.GetWhen(), b.GetWhen())
}

func changeOf(from, to *schedulingv1.Booking) *schedulingv1.Change {
	return &schedulingv1.Change{
		Booking: to.GetName(), From: from.GetWhen(), To: to.GetWhen(),
		FromBay: from.GetBay(), ToBay: to.GetBay(), Reason: to.GetReason(),
	}
}

func orElse(text, otherwise string) string {
	if text == "" {
		return otherwise
	}
	return text
}
