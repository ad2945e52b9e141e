package scheduling

import (
	"context"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/command"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/readmodel"
	"ramprow/internal/workhours"
	commonv1 "ramprow/proto/ramprow/common/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// longestBoard is the longest time that GetBoard shows at once.
const longestBoard = 31 * 24 * time.Hour

// fullPage is the largest page of the read models.
const fullPage = 500

// GetBooking implements the service.
func (s *Server) GetBooking(ctx context.Context, req *schedulingv1.GetBookingRequest) (*schedulingv1.GetBookingResponse, error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, err
	}
	booking := &schedulingv1.Booking{}
	if _, err := s.views.Get(ctx, who.Site, bookingKey(req.GetJob()), req.GetMinRevision(), booking); err != nil {
		if fault.KindOf(err) == fault.NotFound {
			return nil, noBooking(req.GetJob())
		}
		return nil, err
	}
	return &schedulingv1.GetBookingResponse{Booking: booking}, nil
}

// ListBookings implements the service.
func (s *Server) ListBookings(ctx context.Context, req *schedulingv1.ListBookingsRequest) (*schedulingv1.ListBookingsResponse, error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, err
	}
	index := indexOpen
	if req.GetWithFinished() {
		index = indexAll
	}
	page, err := s.views.List(ctx, readmodel.ListQuery{
		Site: who.Site, Model: modelBooking, Index: index, PageSize: int(req.GetPageSize()),
		PageToken: req.GetPageToken(), MinRevision: req.GetMinRevision(),
	}, newBooking)
	if err != nil {
		return nil, err
	}
	return &schedulingv1.ListBookingsResponse{Bookings: rowsOf[*schedulingv1.Booking](page.Rows), NextPageToken: page.NextToken}, nil
}

// ListResources implements the service.
func (s *Server) ListResources(ctx context.Context, req *schedulingv1.ListResourcesRequest) (*schedulingv1.ListResourcesResponse, error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, err
	}
	q := readmodel.ListQuery{
		Site: who.Site, Model: modelResource, Index: indexAll, PageSize: int(req.GetPageSize()),
		PageToken: req.GetPageToken(), MinRevision: req.GetMinRevision(),
	}
	if req.GetKind() != schedulingv1.ResourceKind_RESOURCE_KIND_UNSPECIFIED {
		q.Prefix = kindPrefix(req.GetKind())
	}
	page, err := s.views.List(ctx, q, newResource)
	if err != nil {
		return nil, err
	}
	return &schedulingv1.ListResourcesResponse{Resources: rowsOf[*schedulingv1.Resource](page.Rows), NextPageToken: page.NextToken}, nil
}

// GetBoard implements the service.
func (s *Server) GetBoard(ctx context.Context, req *schedulingv1.GetBoardRequest) (*schedulingv1.GetBoardResponse, error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, err
	}
	start, end := timeOf(req.GetWhen().GetStart()), timeOf(req.GetWhen().GetEnd())
	if !start.Before(end) || end.Sub(start) > longestBoard {
		return nil, fault.New(fault.Invalid, "BOARD_RANGE", "a board shows at least a moment and at most 31 days; ask for a shorter time").
			WithField("when.end", "must be after when.start and at most 31 days later")
	}
	r := &reader{server: s, site: who.Site, revision: req.GetMinRevision()}
	board, waiting := s.lanes(ctx, r, req.GetWhen()), read[*schedulingv1.Booking](ctx, r, modelBooking, indexWaiting, "")
	hours := workhours.SiteOf(r.siteCalendar(ctx))
	showOvertime(hours, board, read[*schedulingv1.Resource](ctx, r, modelResource, indexAll, kindPrefix(schedulingv1.ResourceKind_RESOURCE_KIND_PERSON)))
	if r.err != nil {
		return nil, r.err
	}
	for _, lane := range board {
		lane.Away = hours.Away(lane.GetBay(), workhours.IntervalOf(req.GetWhen()))
	}
	return &schedulingv1.GetBoardResponse{Lanes: board, Waiting: waiting}, nil
}

// lanes reads what lies in the bays at some time.
func (s *Server) lanes(ctx context.Context, r *reader, when *commonv1.Interval) []*schedulingv1.BoardLane {
	bays := read[*schedulingv1.Resource](ctx, r, modelResource, indexAll, kindPrefix(schedulingv1.ResourceKind_RESOURCE_KIND_BAY))
	var bookings []*schedulingv1.Booking
	for _, day := range days(timeOf(when.GetStart()).UTC(), timeOf(when.GetEnd()).UTC()) {
		bookings = append(bookings, read[*schedulingv1.Booking](ctx, r, modelBooking, indexDay, day)...)
	}
	return lanes(bays, bookings, when)
}

// reader reads whole indexes, each part at least as new as the one before, until
// the first error.
type reader struct {
	server   *Server
	site     string
	revision uint64
	err      error
}

func read[M proto.Message](ctx context.Context, r *reader, model, index, prefix string) []M {
	var all []M
	q := readmodel.ListQuery{Site: r.site, Model: model, Index: index, Prefix: prefix, PageSize: fullPage}
	newRow := newBooking
	if model == modelResource {
		newRow = newResource
	}
	for r.err == nil {
		q.MinRevision = r.revision
		page, err := r.server.views.List(ctx, q, newRow)
		if r.err = err; err != nil {
			break
		}
		r.revision = max(r.revision, page.Revision)
		all = append(all, rowsOf[M](page.Rows)...)
		if q.PageToken = page.NextToken; q.PageToken == "" {
			break
		}
	}
	return all
}

// lanes gives each bay its bookings by start. Begun work whose bay nobody knows
// has a lane without a bay; a retired bay is shown while something lies there.
func lanes(bays []*schedulingv1.Resource, bookings []*schedulingv1.Booking, when *commonv1.Interval) []*schedulingv1.BoardLane {
	inBay := map[string][]*schedulingv1.Booking{}
	seen := map[string]bool{}
	for _, b := range bookings {
		if !seen[b.GetName()] && touches(b.GetWhen(), when) {
			inBay[b.GetBay()] = append(inBay[b.GetBay()], b)
		}
		seen[b.GetName()] = true
	}
	var out []*schedulingv1.BoardLane
	for _, bay := range append(bays, nil) {
		lane := &schedulingv1.BoardLane{Bay: bay, Bookings: inBay[bay.GetName()]}
		if (bay == nil || bay.GetRetired()) && len(lane.GetBookings()) == 0 {
			continue
		}
		slices.SortFunc(lane.GetBookings(), func(a, b *schedulingv1.Booking) int {
			return timeOf(a.GetWhen().GetStart()).Compare(timeOf(b.GetWhen().GetStart()))
		})
		out = append(out, lane)
	}
	return out
}

func touches(a, b *commonv1.Interval) bool {
	return timeOf(a.GetStart()).Before(timeOf(b.GetEnd())) && timeOf(b.GetStart()).Before(timeOf(a.GetEnd()))
}

func newBooking() proto.Message  { return &schedulingv1.Booking{} }
func newResource() proto.Message { return &schedulingv1.Resource{} }

func rowsOf[M proto.Message](rows []proto.Message) []M {
	out := make([]M, 0, len(rows))
	for _, r := range rows {
		if m, ok := r.(M); ok {
			out = append(out, m)
		}
	}
	return out
}
