package desk

import (
	"context"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/fault"
	logv1 "ramprow/proto/ramprow/log/v1"
	tracesv1 "ramprow/proto/ramprow/traces/v1"
)

const (
	tracesOnPage = 50
	parkedOnPage = 100
	// traceTime bounds a question to the store of traces, and to a service about what
	// it has parked: a page that shows them has other things to show.
	traceTime = 2 * time.Second
)

// tracesView is what was looked for and found, and what is parked.
type tracesView struct {
	// The form as it was filled in.
	About, Person, Name, From, Until, Slow string
	Failed, OnlyParked                     bool

	Found  foundTraces
	Parked []parkedOf
	// Silent lists the services that did not say what they have parked.
	Silent []string
}

// foundTraces is a list of traces, or why there is none.
type foundTraces struct {
	Traces []*tracesv1.TraceSummary
	// More is the query of the next page; empty: there is none.
	More string
	// Away is set where the store does not answer.
	Away *problem
}

// parkedOf is an event that a service could not handle.
type parkedOf struct {
	*logv1.ParkedEvent

	Role string
}

func (d *Desk) showTraces(v *visit) error {
	view, request, err := d.readTraceForm(v)
	if err != nil {
		return err
	}
	if view.Found, err = d.findTraces(v, request); err != nil {
		return err
	}
	view.Parked, view.Silent, err = d.listParked(v)
	if err != nil {
		return err
	}
	return v.render("traces", view)
}

var plainNumber = regexp.MustCompile(`^[1-9][0-9]{0,9}$`)

// readTraceForm reads what is looked for.
func (d *Desk) readTraceForm(v *visit) (*tracesView, *tracesv1.FindTracesRequest, error) {
	q := v.r.URL.Query()
	view := &tracesView{
		About: q.Get("about"), Person: q.Get("person"), Name: q.Get("name"), From: q.Get("from"), Until: q.Get("until"), Slow: q.Get("slow"),
		Failed: q.Get("failed") != "", OnlyParked: q.Get("parked") != "",
	}
	request := &tracesv1.FindTracesRequest{
		About: view.About, Person: view.Person, Text: view.Name, ErrorsOnly: view.Failed, ParkedOnly: view.OnlyParked,
		PageSize: tracesOnPage, PageToken: q.Get("after"),
	}
	if plainNumber.MatchString(view.About) {
		request.About = "jobs/" + view.About
	}
	for name, field := range map[string]**timestamppb.Timestamp{"from": &request.Since, "until": &request.Until} {
		if text := q.Get(name); text != "" {
			at, err := d.readMoment(name, text)
			if err != nil {
				return nil, nil, err
			}
			*field = timestamppb.New(at)
		}
	}
	if view.Slow != "" {
		ms, err := strconv.ParseUint(view.Slow, 10, 31)
		if err != nil {
			return nil, nil, badField("slow", "must be a whole number of milliseconds")
		}
		request.AtLeast = durationpb.New(time.Duration(ms) * time.Millisecond)
	}
	return view, request, nil
}

// findTraces asks the store. That it is away is no reason to show nothing else.
func (d *Desk) findTraces(v *visit, request *tracesv1.FindTracesRequest) (foundTraces, error) {
	if d.Services.Traces == nil {
		return foundTraces{Away: noTraces}, nil
	}
	ctx, cancel := context.WithTimeout(v.ctx, traceTime)
	defer cancel()
	r, err := d.Services.Traces.FindTraces(ctx, request)
	if away(err) && v.ctx.Err() == nil {
		p, _ := problemOf(err)
		return foundTraces{Away: p}, nil
	}
	if err != nil {
		return foundTraces{}, err
	}
	found := foundTraces{Traces: r.GetTraces()}
	if r.GetNextPageToken() != "" {
		q := v.r.URL.Query()
		q.Set("after", r.GetNextPageToken())
		found.More = q.Encode()
	}
	return found, nil
}

// noTraces is told where nobody has said where traces are kept.
var noTraces = &problem{Message: "No store of traces is named here.", Details: []string{"Start one with: ramprow serve traces"}, Reason: "TRACES_NOT_KEPT"}

func away(err error) bool {
	kind := fault.KindOf(err)
	return err != nil && (kind == fault.Unavailable || kind == fault.Deadline)
}

// listParked asks every service what it could not handle.
func (d *Desk) listParked(v *visit) (parked []parkedOf, silent []string, err error) {
	for _, role := range slices.Sorted(maps.Keys(d.Services.Logs)) {
		ctx, cancel := context.WithTimeout(v.ctx, traceTime)
		r, err := d.Services.Logs[role].ListParked(ctx, &logv1.ListParkedRequest{PageSize: parkedOnPage})
		cancel()
		if away(err) && v.ctx.Err() == nil {
			silent = append(silent, role)
			continue
		}
		if err != nil {
			return nil, nil, err
		}
		for _, p := range r.GetParked() {
			parked = append(parked, parkedOf{ParkedEvent: p, Role: role})
		}
	}
	return parked, silent, nil
}

// settleParked tries a parked event again, or gives it up for a reason.
func (d *Desk) settleParked(v *visit) error {
	log, known := d.Services.Logs[v.r.PathValue("role")]
	if !known {
		return fault.New(fault.NotFound, "SERVICE_UNKNOWN", "there is no such service; go back to the traces and try again")
	}
	if v.r.PathValue("deed") == "drop" {
		r, err := log.DropParked(v.ctx, &logv1.DropParkedRequest{RequestId: v.requestID(), Id: v.form("event"), Reason: v.form("reason")})
		if err != nil {
			return err
		}
		return v.done("/traces", "parked-dropped", r.GetReceipt())
	}
	r, err := log.ReleaseParked(v.ctx, &logv1.ReleaseParkedRequest{RequestId: v.requestID(), Id: v.form("event")})
	if err != nil {
		return err
	}
	if !r.GetHandled() {
		return fault.New(fault.Precondition, "STILL_PARKED", "it was tried again and stays parked: %s", r.GetError())
	}
	return v.done("/traces", "parked-released", r.GetReceipt())
}

// took writes how long a program worked: to a tenth of a millisecond below a second.
func took(length *durationpb.Duration) string { return exactly(length.AsDuration()) }

func exactly(length time.Duration) string {
	if length < time.Second {
		return strconv.FormatFloat(float64(length)/float64(time.Millisecond), 'f', 1, 64) + " ms"
	}
	if length < time.Minute {
		return strconv.FormatFloat(length.Seconds(), 'f', 2, 64) + " s"
	}
	return length.Round(time.Second).String()
}
