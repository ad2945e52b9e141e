package job

import (
	"cmp"
	"context"
	"slices"
	"strconv"
	"time"

	"ramprow/internal/engine/flow"
	"ramprow/internal/platform/fault"
	"ramprow/internal/workhours"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// figuresServer answers FiguresService from the writer's state.
type figuresServer struct {
	jobv1.UnimplementedFiguresServiceServer
	*Server
}

// maxFigureDays bounds a window.
const maxFigureDays = 400

// visitPage is how many visits a page holds if nobody says.
const visitPage = 100

// GetFigures gives the figures of a window of days.
func (s *figuresServer) GetFigures(ctx context.Context, req *jobv1.GetFiguresRequest) (*jobv1.GetFiguresResponse, error) {
	f, dropped, zone, err := s.measure(ctx, req)
	if err != nil {
		return nil, err
	}
	return figuresOf(f, dropped, zone), nil
}

// ListVisits gives the jobs behind one of the figures.
func (s *figuresServer) ListVisits(ctx context.Context, req *jobv1.ListVisitsRequest) (*jobv1.ListVisitsResponse, error) {
	f, _, _, err := s.measure(ctx, req)
	if err != nil {
		return nil, err
	}
	return pageOf(f, req)
}

func pageOf(f *flow.Figures, req *jobv1.ListVisitsRequest) (*jobv1.ListVisitsResponse, error) {
	from := 0
	if req.GetPageToken() != "" {
		var err error
		if from, err = strconv.Atoi(req.GetPageToken()); err != nil || from < 0 {
			return nil, fault.New(fault.Invalid, "PAGE_TOKEN_INVALID", "the page token is none of ours; begin with the first page").
				WithField("page_token", "must come from the answer before")
		}
	}
	all := behind(f, req)
	size := int(req.GetPageSize())
	if size == 0 {
		size = visitPage
	}
	from = min(from, len(all))
	to := min(from+size, len(all))
	r := &jobv1.ListVisitsResponse{}
	for _, w := range all[from:to] {
		r.Visits = append(r.Visits, visitOf(w.row, w.weight))
	}
	if to < len(all) {
		r.NextPageToken = strconv.Itoa(to)
	}
	return r, nil
}

// windowed is a request for a window of days.
type windowed interface {
	GetFrom() string
	GetTo() string
	GetTimeZone() string
}

// measure copies what is known under the writer's lock and computes outside it.
func (s *figuresServer) measure(ctx context.Context, req windowed) (*flow.Figures, time.Time, *time.Location, error) {
	now := s.now()
	w, zone, err := windowOf(req, now)
	if err != nil {
		return nil, time.Time{}, nil, err
	}
	var shop flow.Shop
	var dropped time.Time
	err = s.view(ctx, func(st *State) error {
		shop, dropped = st.shop(), st.stays.Dropped
		return nil
	})
	if err != nil {
		return nil, time.Time{}, nil, err
	}
	return flow.Measure(shop, w), dropped, zone, nil
}

// shop is what the figures are made from.
func (s *State) shop() flow.Shop {
	return flow.Shop{Visits: s.stays.visits(), Resources: s.hours.resources(workhours.SiteOf(s.site))}
}

// Figures are those of a state that nobody changes, for whoever folds a log by himself.
func (s *State) Figures(req *jobv1.GetFiguresRequest, now time.Time) (*jobv1.GetFiguresResponse, error) {
	w, zone, err := windowOf(req, now)
	if err != nil {
		return nil, err
	}
	return figuresOf(flow.Measure(s.shop(), w), s.stays.Dropped, zone), nil
}

func windowOf(req windowed, now time.Time) (flow.Window, *time.Location, error) {
	bad := fault.New(fault.Invalid, "WINDOW_INVALID", "the figures need a first and a last day, at most %d days, and a time zone", maxFigureDays)
	zone, err := time.LoadLocation(req.GetTimeZone())
	if err != nil {
		return flow.Window{}, nil, bad.WithField("time_zone", "must be a name as in Europe/Vienna, or empty")
	}
	from, err := time.ParseInLocation(time.DateOnly, req.GetFrom(), zone)
	if err != nil {
		return flow.Window{}, nil, bad.WithField("from", "must be a day as in 2026-03-09")
	}
	to, err := time.ParseInLocation(time.DateOnly, req.GetTo(), zone)
	if err != nil {
		return flow.Window{}, nil, bad.WithField("to", "must be a day as in 2026-03-09")
	}
	w := flow.Window{From: from.UnixNano(), Now: now.UnixNano()}
	day := from
	for ; !day.After(to); day = day.AddDate(0, 0, 1) {
		if len(w.Days) == maxFigureDays {
			return flow.Window{}, nil, bad.WithField("to", "must be within %d days from the first", maxFigureDays)
		}
		w.Days = append(w.Days, day.UnixNano())
	}
	if len(w.Days) == 0 {
		return flow.Window{}, nil, bad.WithField("to", "must not be before the first day")
	}
	w.To = day.UnixNano()
	return w, zone, nil
}

// weighed is a job with what it weighs in a figure.
type weighed struct {
	row    *flow.Row
	weight int64
}

// behind picks the jobs of a figure, the heaviest first.
func behind(f *flow.Figures, req *jobv1.ListVisitsRequest) []weighed {
	var all []weighed
	for i := range f.Rows {
		if w, counts := weigh(f, &f.Rows[i], req); counts {
			all = append(all, weighed{&f.Rows[i], w})
		}
	}
	slices.SortFunc(all, func(a, b weighed) int {
		return cmp.Or(cmp.Compare(b.weight, a.weight), cmp.Compare(a.row.Number, b.row.Number))
	})
	return all
}

func weigh(f *flow.Figures, r *flow.Row, req *jobv1.ListVisitsRequest) (weight int64, counts bool) {
	switch req.GetFigure() {
	case jobv1.Figure_FIGURE_PRESENT:
		return r.Stay(), true
	case jobv1.Figure_FIGURE_ARRIVED:
		return r.Stay(), r.Arrived >= f.From
	case jobv1.Figure_FIGURE_CLOSED:
		return r.Stay(), r.Closed
	case jobv1.Figure_FIGURE_STAGE:
		if req.GetStage() == jobv1.Stage_STAGE_UNSPECIFIED {
			return 0, false
		}
		spent := r.Stages[req.GetStage()-1]
		return spent, r.Closed && spent > 0
	case jobv1.Figure_FIGURE_USE:
		return r.Used[req.GetResource()], r.Used[req.GetResource()] > 0
	case jobv1.Figure_FIGURE_QUOTE:
		return int64(r.Taken - r.Quoted), r.Closed && r.Quoted > 0
	case jobv1.Figure_FIGURE_PROMISE:
		return r.Finished - r.Promised, r.Closed && r.Promised != 0
	case jobv1.Figure_FIGURE_JOINTS:
		return int64(r.Tightened-r.FirstTime) * int64(time.Second), r.Closed && r.Tightened > 0
	case jobv1.Figure_FIGURE_UNSPECIFIED:
	}
	return 0, false
}
