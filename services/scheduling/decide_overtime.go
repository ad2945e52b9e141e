package scheduling

import (
	"fmt"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/engine/planner"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/workhours"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// longestOvertime is the most that is planned at once; several days are several entries.
const longestOvertime = 24 * time.Hour

// planOvertime adds working time beyond the shifts. What would add nothing is refused, so that nobody counts on it.
func (st *State) planOvertime(req *schedulingv1.PlanOvertimeRequest, in sitelog.Input) ([]proto.Message, *schedulingv1.PlanOvertimeResponse, error) {
	r, ok := st.resources[req.GetResource()]
	if !ok {
		return nil, nil, noResource(req.GetResource())
	}
	when := workhours.IntervalOf(req.GetWhen())
	switch {
	case !when.Start.Before(when.End) || when.End.Sub(when.Start) > longestOvertime:
		return nil, nil, fault.New(fault.Invalid, "OVERTIME_RANGE", "overtime takes at least a moment and at most 24 hours; plan each day by itself").
			WithField("when.end", "must be after when.start and at most 24 hours later")
	case !when.End.After(in.Now):
		return nil, nil, fault.New(fault.Invalid, "OVERTIME_PAST", "the overtime is over already; give an end that is still to come").WithField("when.end", "must be later than now")
	case len(r.GetOvertime()) >= mostEntries:
		return nil, nil, tooMany(r.GetName(), "entries of overtime", "withdraw some that are not needed")
	}
	entry := &schedulingv1.Overtime{Id: fmt.Sprintf("overtime-%d", st.entries+1), When: req.GetWhen(), Reason: req.GetReason()}
	usual := st.site().Calendar(r, when)
	more := usual
	more.Extra = append(slices.Clone(usual.Extra), when)
	if length(more.Open(when, st.zone)) == length(usual.Open(when, st.zone)) {
		return nil, nil, fault.New(fault.Precondition, "OVERTIME_ADDS_NOTHING",
			"%s is there at that time already, or is away; choose another time, or end what takes it away", r.GetName()).With("resource", r.GetName())
	}
	d := newDraft(st, in)
	d.add(&schedulingv1.OvertimePlanned{Resource: r.GetName(), Overtime: entry})
	out, err := d.replan(order{cause: fmt.Sprintf("%s works longer (%s)", r.GetName(), req.GetReason())})
	resp := &schedulingv1.PlanOvertimeResponse{Resource: d.state.resources[r.GetName()], Changes: out.changes}
	return d.unless(req.GetValidateOnly()), resp, err
}

// withdrawOvertime takes it back; what lay there is moved.
func (st *State) withdrawOvertime(req *schedulingv1.WithdrawOvertimeRequest, in sitelog.Input) ([]proto.Message, *schedulingv1.WithdrawOvertimeResponse, error) {
	r, ok := st.resources[req.GetResource()]
	if !ok {
		return nil, nil, noResource(req.GetResource())
	}
	if !slices.ContainsFunc(r.GetOvertime(), func(o *schedulingv1.Overtime) bool { return o.GetId() == req.GetOvertime() }) {
		return nil, nil, fault.New(fault.NotFound, "OVERTIME_NOT_FOUND", "%s has no overtime %s; list the resources to see its overtime", r.GetName(), req.GetOvertime()).
			About("Overtime", r.GetName()+"/"+req.GetOvertime())
	}
	d := newDraft(st, in)
	d.add(&schedulingv1.OvertimeWithdrawn{Resource: r.GetName(), Overtime: req.GetOvertime()})
	out, err := d.replan(order{cause: "overtime of " + r.GetName() + " was withdrawn"})
	resp := &schedulingv1.WithdrawOvertimeResponse{Resource: d.state.resources[r.GetName()], Changes: out.changes}
	return d.unless(req.GetValidateOnly()), resp, err
}

// addOvertime keeps an entry. Those that were over before a moment are dropped.
func addOvertime(r *schedulingv1.Resource, entry *schedulingv1.Overtime, before time.Time) {
	r.Overtime = slices.DeleteFunc(r.GetOvertime(), func(o *schedulingv1.Overtime) bool { return timeOf(o.GetWhen().GetEnd()).Before(before) })
	r.Overtime = append(r.Overtime, entry)
}

func dropOvertime(r *schedulingv1.Resource, id string) {
	r.Overtime = slices.DeleteFunc(r.GetOvertime(), func(o *schedulingv1.Overtime) bool { return o.GetId() == id })
}

// inOvertime is how much of a time a resource is there only because of overtime.
func inOvertime(site workhours.Site, r *schedulingv1.Resource, when planner.Interval) time.Duration {
	if !slices.ContainsFunc(r.GetOvertime(), func(o *schedulingv1.Overtime) bool { return workhours.Overlap(workhours.IntervalOf(o.GetWhen()), when) }) {
		return 0
	}
	c := site.Calendar(r, when)
	all := length(c.Open(when, site.Zone))
	c.Extra = nil
	return all - length(c.Open(when, site.Zone))
}

// length adds up times that are apart.
func length(times []planner.Interval) (sum time.Duration) {
	for _, t := range times {
		sum += t.End.Sub(t.Start)
	}
	return sum
}
