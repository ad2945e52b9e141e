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

// siteCalendar reads what all resources of a site share.
func (r *reader) siteCalendar(ctx context.Context) *schedulingv1.SiteCalendar {
	shared := &schedulingv1.SiteCalendar{}
	if r.err != nil {
		return shared
	}
	revision, err := r.server.views.Get(ctx, r.site, siteKey(), r.revision, shared)
	switch {
	case fault.KindOf(err) == fault.NotFound: // nothing was ever set
	case err != nil:
		r.err = err
	default:
		r.revision = max(r.revision, revision)
	}
	return shared
}

// showOvertime says on a board how much of each booking lies in overtime of its technician.
func showOvertime(site workhours.Site, board []*schedulingv1.BoardLane, people []*schedulingv1.Resource) {
	longer := map[string]*schedulingv1.Resource{}
	for _, p := range people {
		if len(p.GetOvertime()) > 0 {
			longer[p.GetName()] = p
		}
	}
	for _, lane := range board {
		for _, b := range lane.GetBookings() {
			if p := longer[b.GetTechnician()]; p != nil {
				if d := inOvertime(site, p, workhours.IntervalOf(b.GetWhen())); d > 0 {
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
	return &schedulingv1.ListClosedDaysResponse{ClosedDays: r.siteCalendar(ctx).GetClosedDays()}, r.err
}
