package scheduling

import (
	"strings"
	"time"

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
	d.promiser, d.starting = nil, o.starting
	if !changed {
		return nil
	}
	outlooks, err := planner.Foresee(p, plan, d.state.spread)
	if err != nil {
		return err
	}
	d.promiser = d.state.promiser(outlooks, d.in.Now)
	return nil
}

// spread is how long an open job's work may take.
func (st *State) spread(job string) planner.Spread { return spreadIn(st.open[job].demand) }

// spreadIn is how long a demand's work may take; P80 is what it is booked for.
func spreadIn(demand *schedulingv1.Demand) planner.Spread {
	s := planner.Spread{P80: effortOf(demand.GetEffort()), P50: demand.GetEffort().GetP50().AsDuration()}
	if s.P50 <= 0 || s.P50 > s.P80 {
		s.P50 = s.P80
	}
	return s
}

// promise writes into a booking what it is promised for: what was said already, if the
// runs of the plan still end within it and it is not much too careful. What was added to
// a promise is there to be used up: it does not move with every delay.
func (d *draft) promise(b *schedulingv1.Booking, w *work, p planner.Placement) {
	said := timeOf(w.booking.GetPromised())
	b.Promised, b.PromiseReason = w.booking.GetPromised(), w.booking.GetPromiseReason()
	if d.promiser == nil { // nothing has changed
		if said.IsZero() {
			b.Promised = stamp(p.When.End)
		}
		return
	}
	begins := p.Job == d.starting
	made := d.promiser.promise(p, begins || w.started())
	if begins {
		b.ForeseenBegun = stamp(made.foreseen)
	}
	if !w.onBoard() && b.GetForeseen() == nil {
		b.Foreseen, b.FirstPromised = stamp(made.foreseen), stamp(made.at)
	}
	if !said.IsZero() && !said.Before(p.When.End) &&
		earlier(made.foreseen, made.at).Sub(said) < promiseStep && said.Sub(latest(made.foreseen, made.at)) < promiseStep {
		return
	}
	b.Promised, b.PromiseReason = stamp(made.at), made.why
}

// foreseenAs keeps what was foreseen of a job and promised first, through waiting too:
// that its parts did not come is what promises must learn.
func foreseenAs(b, old *schedulingv1.Booking) {
	b.Foreseen, b.FirstPromised, b.ForeseenBegun = old.GetForeseen(), old.GetFirstPromised(), old.GetForeseenBegun()
}

// promise is what a job is promised for.
type promise struct {
	// foreseen is when four of five runs of the plan end, at is that with what was learned.
	foreseen, at time.Time
	// why it is later than the plan's end, in words.
	why string
}

// promiser makes promises of how a plan runs and of what was learned.
type promiser struct {
	outlooks map[string]planner.Outlook
	// waiting and begun are what was learned of work that has not begun, and that has.
	waiting, begun planner.Margin
	// hours are only there if something is added.
	hours planner.Hours
}

func (st *State) promiser(outlooks map[string]planner.Outlook, now time.Time) *promiser {
	p := &promiser{outlooks: outlooks, waiting: st.margin(false, now), begun: st.margin(true, now)}
	if p.waiting.Add == 0 && p.begun.Add == 0 {
		return p
	}
	first, last := now, now
	for _, o := range outlooks {
		first, last = earlier(first, o.P80), latest(last, o.P80)
	}
	p.hours = st.hours(first.Add(-farthestMargin), last.Add(farthestMargin))
	return p
}

// promise is when a placement is done in four of five runs, with what was learned, to
// the minute and never before its end.
func (pr *promiser) promise(p planner.Placement, begun bool) promise {
	m := pr.waiting
	if begun {
		m = pr.begun
	}
	foreseen := pr.outlooks[p.Job].P80
	out := promise{foreseen: minuteUp(foreseen), at: foreseen}
	if m.Add != 0 {
		out.at = pr.hours.After(foreseen, m.Add)
	}
	out.at = latest(minuteUp(out.at), p.When.End)
	if !out.at.After(p.When.End) {
		return out
	}
	var why []string
	if out.foreseen.After(p.When.End) {
		why = append(why, "those before it may keep it waiting")
	}
	if m.Add > 0 {
		why = append(why, learnedWords(m))
	}
	out.why = strings.Join(why, "; ")
	return out
}

// farthestMargin bounds how far from what is foreseen a promise can lie.
const farthestMargin = 31 * 24 * time.Hour

func minuteUp(t time.Time) time.Time {
	if rest := t.Truncate(time.Minute); rest.Before(t) {
		return rest.Add(time.Minute)
	}
	return t
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
		Reason: orElse(o.cause, "time has passed") + "; " + orElse(b.GetPromiseReason(), "it takes longer than foreseen"),
	})
}
