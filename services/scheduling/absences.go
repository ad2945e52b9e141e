package scheduling

import (
	"context"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	"ramprow/internal/platform/command"
	"ramprow/internal/platform/fault"
	"ramprow/internal/workhours"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// calendars reads what all resources of a site share, as a state that knows nothing else.
func (r *reader) calendars(ctx context.Context) *State {
	shared, st := &schedulingv1.SiteCalendar{}, newState(r.site)
	if r.err != nil {
		return st
	}
	revision, err := r.server.views.Get(ctx, r.site, siteKey(), r.revision, shared)
	switch {
	case fault.KindOf(err) == fault.NotFound: // nothing was ever set
		return st
	case err != nil:
		r.err = err
		return st
	}
	r.revision = max(r.revision, revision)
	st.zone = workhours.Zone(shared.GetZone())
	for _, day := range shared.GetClosedDays() {
		st.closedDays[day.GetName()] = day
	}
	return st
}

// showOvertime says on a board how much of each booking lies in overtime of its technician.
func (st *State) showOvertime(board []*schedulingv1.BoardLane, people []*schedulingv1.Resource) {
	longer := map[string]*schedulingv1.Resource{}
	for _, p := range people {
		if len(p.GetOvertime()) > 0 {
			longer[p.GetName()] = p
		}
	}
	for _, lane := range board {
		for _, b := range lane.GetBookings() {
			if p := longer[b.GetTechnician()]; p != nil {
				if d := st.inOvertime(p, workhours.IntervalOf(b.GetWhen())); d > 0 {
					b.Overtime = durationpb.New(d.Truncate(time.Second))
				}
			}
		}
	}
}

// ListClosedDays implements the service.
func (s *Server) ListClosedDays(ctx context.Context, req *schedulingv1.ListClosedDaysRequest) (*schedulingv1.ListClosedDaysResponse, error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, err
	}
	r := &reader{server: s, site: who.Site, revision: req.GetMinRevision()}
	shared := r.calendars(ctx).siteCalendar()
	return &schedulingv1.ListClosedDaysResponse{ClosedDays: shared.GetClosedDays()}, r.err
}
