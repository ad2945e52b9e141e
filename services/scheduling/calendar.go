package scheduling

import (
	"context"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/command"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/readmodel"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/workhours"
	commonv1 "ramprow/proto/ramprow/common/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// calendarPast is how long a calendar still shows what is over; with what is to come it is as long as a board.
const calendarPast = 7 * 24 * time.Hour

// GetCalendar implements the service.
func (s *Server) GetCalendar(ctx context.Context, req *schedulingv1.GetCalendarRequest) (*schedulingv1.GetCalendarResponse, error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, err
	}
	resource := &schedulingv1.Resource{}
	revision, err := s.views.Get(ctx, who.Site, readmodel.Key{Model: modelResource, ID: req.GetResource()}, req.GetMinRevision(), resource)
	program := isProgram(ctx)
	if fault.KindOf(err) == fault.NotFound && !program {
		return nil, noResource(req.GetResource())
	}
	if err != nil && fault.KindOf(err) != fault.NotFound {
		return nil, err
	}
	if program && !mayRead(ctx, resource) {
		return nil, fault.New(fault.Denied, "CALENDAR_RENEWED", "this address of a calendar is not valid any more; ask the dispatcher for a new one")
	}
	from := s.now().Add(-calendarPast)
	r := &reader{server: s, site: who.Site, revision: revision}
	within := &commonv1.Interval{Start: timestamppb.New(from), End: timestamppb.New(from.Add(longestBoard))}
	board, shared := s.lanes(ctx, r, within), r.siteCalendar(ctx)
	if r.err != nil {
		return nil, r.err
	}
	resp := bookingsOf(resource, board, program)
	resp.Away = absences(workhours.SiteOf(shared).Away(resource, workhours.IntervalOf(within)), program)
	return resp, nil
}

// absences leaves out what a program is not told: why somebody is away, which may say who is ill. Maintenance and
// closed days say nothing of people.
func absences(away []*schedulingv1.Block, program bool) []*schedulingv1.Block {
	for i, b := range away {
		told := b.GetKind() == schedulingv1.BlockKind_BLOCK_KIND_CLOSED_DAY || b.GetKind() == schedulingv1.BlockKind_BLOCK_KIND_MAINTENANCE
		if program && !told {
			away[i] = &schedulingv1.Block{Id: b.GetId(), When: b.GetWhen()}
		}
	}
	return away
}

func isProgram(ctx context.Context) bool {
	id, _ := identity.FromContext(ctx)
	_, _, program := id.OfCalendar()
	return program
}

// mayRead tells whether a calendar program was given the address that is in use.
func mayRead(ctx context.Context, r *schedulingv1.Resource) bool {
	id, _ := identity.FromContext(ctx)
	name, renewed, ok := id.OfCalendar()
	return ok && name == r.GetName() && renewed == r.GetCalendar() && !r.GetRetired()
}

// bookingsOf keeps a resource's bookings. An address can end up with anybody, so programs get nothing that people
// wrote: titles, which may say whose car it is, and reasons, which may say who is ill.
func bookingsOf(r *schedulingv1.Resource, board []*schedulingv1.BoardLane, program bool) *schedulingv1.GetCalendarResponse {
	resp := &schedulingv1.GetCalendarResponse{Resource: r}
	if program {
		resp.Resource = bare(r)
	}
	for _, lane := range board {
		lane.Bookings = slices.DeleteFunc(lane.GetBookings(), func(b *schedulingv1.Booking) bool {
			return b.GetBay() != r.GetName() && b.GetTechnician() != r.GetName()
		})
		if len(lane.GetBookings()) == 0 {
			continue
		}
		if program {
			lane.Bay = bare(lane.GetBay())
			for i, b := range lane.GetBookings() {
				lane.Bookings[i] = &schedulingv1.Booking{
					Name: b.GetName(), Job: b.GetJob(), State: b.GetState(), Bay: b.GetBay(), Technician: b.GetTechnician(),
					Tools: b.GetTools(), When: b.GetWhen(), Pinned: b.GetPinned(), PlanRevision: b.GetPlanRevision(), StartedAt: b.GetStartedAt(),
				}
			}
		}
		resp.Lanes = append(resp.Lanes, lane)
	}
	return resp
}

func bare(r *schedulingv1.Resource) *schedulingv1.Resource {
	return &schedulingv1.Resource{Name: r.GetName(), Title: r.GetTitle(), Kind: r.GetKind()}
}

// renewCalendar makes every address invalid that was given out before.
func (st *State) renewCalendar(req *schedulingv1.RenewCalendarRequest, in sitelog.Input) ([]proto.Message, *schedulingv1.RenewCalendarResponse, error) {
	if _, ok := st.resources[req.GetResource()]; !ok {
		return nil, nil, noResource(req.GetResource())
	}
	d := newDraft(st, in)
	d.add(&schedulingv1.CalendarRenewed{Resource: req.GetResource()})
	return d.events, &schedulingv1.RenewCalendarResponse{Resource: d.state.resources[req.GetResource()]}, nil
}

// RenewCalendar implements the service.
func (s *Server) RenewCalendar(ctx context.Context, req *schedulingv1.RenewCalendarRequest) (*schedulingv1.RenewCalendarResponse, error) {
	return carryOut(ctx, s, req, (*State).renewCalendar, func(r *schedulingv1.RenewCalendarResponse, receipt *commonv1.Receipt) { r.Receipt = receipt })
}
