package scheduling

import (
	"fmt"
	"slices"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/workhours"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// planMaintenance takes a bay or a tool out again and again.
func (st *State) planMaintenance(req *schedulingv1.PlanMaintenanceRequest, in sitelog.Input) ([]proto.Message, *schedulingv1.PlanMaintenanceResponse, error) {
	r, ok := st.resources[req.GetResource()]
	if !ok {
		return nil, nil, noResource(req.GetResource())
	}
	if err := st.checkMaintenance(req.GetMaintenance(), in); err != nil {
		return nil, nil, err
	}
	if len(r.GetMaintenance()) >= mostEntries {
		return nil, nil, tooMany(r.GetName(), "entries of maintenance", "end some that are not needed")
	}
	m := clone(req.GetMaintenance())
	m.Id = fmt.Sprintf("maintenance-%d", st.entries+1)
	d := newDraft(st, in)
	d.add(&schedulingv1.MaintenancePlanned{Resource: r.GetName(), Maintenance: m})
	out, err := d.replan(order{cause: fmt.Sprintf("%s has maintenance (%s)", r.GetName(), m.GetTitle())})
	resp := &schedulingv1.PlanMaintenanceResponse{Resource: d.state.resources[r.GetName()], Changes: out.changes}
	return d.unless(req.GetValidateOnly()), resp, err
}

func (st *State) checkMaintenance(m *schedulingv1.Maintenance, in sitelog.Input) error {
	bad := fault.New(fault.Invalid, "MAINTENANCE_INVALID", "the maintenance cannot be planned as it is described")
	if m.GetId() != "" {
		bad = bad.WithField("maintenance.id", "is given by the service; leave it empty")
	}
	first, ok := workhours.ParseDay(m.GetFirst())
	if !ok {
		bad = bad.WithField("maintenance.first", "must be a day as in 2026-03-09")
	}
	until, ok := workhours.ParseLast(m.GetUntil(), max(first, workhours.DayAt(in.Now, st.zone)))
	if !ok || until < first || until < workhours.DayAt(in.Now, st.zone) {
		bad = bad.WithField("maintenance.until", "must be a day as in 2026-03-09, not before first and not in the past")
	}
	if m.GetMinutes() >= m.GetEveryDays()*dayMinutes {
		bad = bad.WithField("maintenance.minutes", "must be less than every_days, or the resource is never to be had")
	}
	if len(bad.Fields) > 0 {
		return bad
	}
	return nil
}

const dayMinutes = 24 * 60

// endMaintenance lets no more of it come.
func (st *State) endMaintenance(req *schedulingv1.EndMaintenanceRequest, in sitelog.Input) ([]proto.Message, *schedulingv1.EndMaintenanceResponse, error) {
	r, ok := st.resources[req.GetResource()]
	if !ok {
		return nil, nil, noResource(req.GetResource())
	}
	if !slices.ContainsFunc(r.GetMaintenance(), func(m *schedulingv1.Maintenance) bool { return m.GetId() == req.GetMaintenance() }) {
		return nil, nil, fault.New(fault.NotFound, "MAINTENANCE_NOT_FOUND", "%s has no maintenance %s; list the resources to see its maintenance", r.GetName(), req.GetMaintenance()).
			About("Maintenance", r.GetName()+"/"+req.GetMaintenance())
	}
	d := newDraft(st, in)
	d.add(&schedulingv1.MaintenanceEnded{Resource: r.GetName(), Maintenance: req.GetMaintenance()})
	out, err := d.replan(order{cause: "maintenance of " + r.GetName() + " has ended"})
	resp := &schedulingv1.EndMaintenanceResponse{Resource: d.state.resources[r.GetName()], Changes: out.changes}
	return d.unless(req.GetValidateOnly()), resp, err
}

func dropMaintenance(r *schedulingv1.Resource, id string) {
	r.Maintenance = slices.DeleteFunc(r.GetMaintenance(), func(m *schedulingv1.Maintenance) bool { return m.GetId() == id })
}
