package job

import (
	"time"

	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/engine/flow"
	commonv1 "ramprow/proto/ramprow/common/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// promiseSureness is the share of promises that scheduling makes to be held: four times of five.
const promiseSureness = 0.8

// stageOf is an engine's stage as the proto has it: in the same order, after the unspecified one.
func stageOf(s flow.Stage) jobv1.Stage { return jobv1.Stage(s) + 1 }

func figuresOf(f *flow.Figures, dropped time.Time, zone *time.Location) *jobv1.GetFiguresResponse {
	r := &jobv1.GetFiguresResponse{
		When:    between(f.Span),
		Arrived: whole(f.Arrived), Closed: whole(f.Closed), Cancelled: whole(f.Cancelled),
		Weeks: weeks(f.Days, zone), Little: littleOf(f.Little), Stay: timesOf(f.Stay), Bottleneck: f.Bottleneck,
		Quote:    &jobv1.QuoteFigures{Jobs: whole(f.Quote.Jobs), Over: whole(f.Quote.Over), Quoted: span(f.Quote.Quoted), Taken: span(f.Quote.Taken)},
		Promises: &jobv1.PromiseFigures{Given: whole(f.Promises.Given), Held: whole(f.Promises.Held), Sureness: promiseSureness, Low: f.Promises.Low, High: f.Promises.High},
		Joints:   &jobv1.JointFigures{Tightened: whole(f.Joints.Tightened), FirstTime: whole(f.Joints.FirstTime)},
	}
	if !dropped.IsZero() {
		r.CompleteFrom = timestamppb.New(dropped)
	}
	if f.LongestWait != flow.InDiagnosis {
		r.LongestWait = stageOf(f.LongestWait)
	}
	for _, d := range f.Days {
		r.Days = append(r.Days, dayOf(d))
	}
	for s, stage := range f.Stages {
		r.Stages = append(r.Stages, &jobv1.StageFigures{
			Stage: stageOf(flow.Stage(s)),
			Time:  timesOf(stage.Spread), Jobs: whole(stage.Jobs), InWindow: span(stage.InWindow), Present: portion(stage.InWindow, f.To-f.From),
		})
	}
	for _, u := range f.Uses {
		one := &jobv1.UseFigures{
			Resource: u.Name, Title: u.Title, Busy: span(u.Busy), Beyond: span(u.Beyond), Utilisation: u.Utilisation(), Jobs: whole(u.Jobs),
		}
		if u.Open > 0 {
			one.Open = span(u.Open)
		}
		r.Uses = append(r.Uses, one)
	}
	for _, s := range f.Stations {
		r.Stations = append(r.Stations, stationOf(s, f.To-f.From))
	}
	return r
}

func stationOf(s flow.Station, length int64) *jobv1.StationFigures {
	r := &jobv1.StationFigures{
		Station: s.Name, Resources: whole(s.Resources), Open: span(s.Open), Busy: span(s.Busy), Utilisation: s.Utilisation(),
		Waiting: span(s.Waiting), Queue: portion(s.Waiting, length),
	}
	if e := s.Expected; e.Services > 0 {
		r.Expected = &jobv1.StationExpectation{
			Services: whole(e.Services), Servers: e.Servers, Service: span(e.Service), ArrivalScv: e.ArrivalSCV, ServiceScv: e.ServiceSCV,
			Measured: span(e.Measured), Computed: span(e.Computed),
		}
	}
	return r
}

func dayOf(d flow.Day) *jobv1.DayFigures {
	return &jobv1.DayFigures{
		When: between(d.Span), Arrived: whole(d.Arrived), Closed: whole(d.Closed), Cancelled: whole(d.Cancelled),
		Present: portion(d.Present, d.To-d.From), Most: whole(d.Most), Last: whole(d.Last), PresentTime: span(d.Present),
	}
}

// weeks adds days up from Monday to Sunday.
func weeks(days []flow.Day, zone *time.Location) []*jobv1.DayFigures {
	var all []flow.Day
	for _, d := range days {
		monday := time.Unix(0, d.From).In(zone).Weekday() == time.Monday
		if len(all) == 0 || monday {
			all = append(all, flow.Day{Span: flow.Span{From: d.From, To: d.From}})
		}
		w := &all[len(all)-1]
		w.To, w.Last, w.Most = d.To, d.Last, max(w.Most, d.Most)
		w.Arrived, w.Closed, w.Cancelled, w.Present = w.Arrived+d.Arrived, w.Closed+d.Closed, w.Cancelled+d.Cancelled, w.Present+d.Present
	}
	var shown []*jobv1.DayFigures
	for _, w := range all {
		shown = append(shown, dayOf(w))
	}
	return shown
}

func littleOf(l flow.Little) *jobv1.LittleFigures {
	return &jobv1.LittleFigures{
		PresentTime: span(l.Present), Stays: span(l.Stays), Before: span(l.Before), After: span(l.After), Residual: span(l.Residual),
		Present: l.Jobs(), ArrivalsPerDay: l.PerDay(), Stay: span(l.Stay()), Edges: l.Edges(),
	}
}

func timesOf(s flow.Spread) *jobv1.TimeFigures {
	return &jobv1.TimeFigures{Total: span(s.Total), Mean: span(s.Mean), Median: span(s.Median), P80: span(s.P80)}
}

func visitOf(r *flow.Row, weight int64) *jobv1.Visit {
	v := &jobv1.Visit{
		Job: jobName(r.Number), Arrived: moment(r.Arrived), Stay: span(r.Stay()), Weight: span(weight),
		Promised: moment(r.Promised), Finished: moment(r.Finished), JointsTightened: r.Tightened, JointsFirstTime: r.FirstTime,
		Quoted: span(int64(r.Quoted)), Taken: span(int64(r.Taken)),
	}
	if !r.Here {
		v.Ended, v.Cancelled = moment(r.Ended), r.Cancelled
	}
	for s, t := range r.Stages {
		if t > 0 {
			v.Stages = append(v.Stages, &jobv1.VisitStage{Stage: stageOf(flow.Stage(s)), Time: span(t)})
		}
	}
	return v
}

func between(s flow.Span) *commonv1.Interval {
	return &commonv1.Interval{Start: timestamppb.New(time.Unix(0, s.From)), End: timestamppb.New(time.Unix(0, s.To))}
}

// moment is a time as the engine has it; absent for 0.
func moment(at int64) *timestamppb.Timestamp {
	if at == 0 {
		return nil
	}
	return timestamppb.New(time.Unix(0, at))
}

func span(length int64) *durationpb.Duration { return durationpb.New(time.Duration(length)) }

func whole(n int) uint32 { return uint32(n) } //nolint:gosec // a count of jobs or joints

func portion(a, b int64) float64 {
	if b == 0 {
		return 0
	}
	return float64(a) / float64(b)
}
