package desk

import (
	"cmp"
	"context"
	"net/http"
	"slices"
	"time"

	"ramprow/internal/platform/telemetry"
	tracesv1 "ramprow/proto/ramprow/traces/v1"
)

// The waterfall's measures, in its own units.
const (
	fallNames = 420  // where the bars begin
	fallWide  = 740  // and how far they go
	fallRow   = 24   // height of a row
	fallHead  = 26   // height of the marks above
	fallEnd   = 1180 // the whole
	fallMarks = 4
	// spansOnPage bounds a page; the terminal shows all.
	spansOnPage = 200
	fallIndent  = 12
	deepestLine = 12
)

// traceView is one trace as a waterfall.
type traceView struct {
	Trace *tracesv1.TraceSummary
	Rows  []spanRow
	Marks []hour
	// Hidden spans are not on the page.
	Hidden int
}

// spanRow is a span in its place.
type spanRow struct {
	*tracesv1.Span

	Y, Left, Width int
	Indent         int
	After          string
	Events         string // kinds of events that it brought about
	Service        string
	Parked         string // id of the event that it set aside
	Attributes     []*tracesv1.Attribute
}

func (d *Desk) showTrace(v *visit) error {
	if d.Services.Traces == nil {
		return v.renderStatus(http.StatusServiceUnavailable, "problem", nil, noTraces)
	}
	ctx, cancel := context.WithTimeout(v.ctx, traceTime)
	defer cancel()
	r, err := d.Services.Traces.GetTrace(ctx, &tracesv1.GetTraceRequest{TraceId: v.r.PathValue("trace")})
	if err != nil {
		return err
	}
	return v.render("trace", waterfall(r.GetSummary(), r.GetSpans()))
}

// waterfall puts spans below what caused them, and each in its place in time.
func waterfall(t *tracesv1.TraceSummary, spans []*tracesv1.Span) traceView {
	view := traceView{Trace: t}
	from, to := t.GetStart().AsTime(), t.GetStart().AsTime().Add(max(t.GetLasted().AsDuration(), time.Microsecond))
	for i := range fallMarks + 1 {
		part := to.Sub(from) * time.Duration(i) / fallMarks
		view.Marks = append(view.Marks, hour{At: fallNames + fallWide*i/fallMarks, Text: exactly(part)})
	}
	for _, line := range byCause(spans) {
		if len(view.Rows) == spansOnPage {
			view.Hidden = len(spans) - spansOnPage
			break
		}
		row := spanRow{Span: line.span, Y: fallHead + fallRow*len(view.Rows), Indent: fallIndent * min(line.depth, deepestLine)}
		start := line.span.GetStart().AsTime()
		row.Left = fallNames + within(start, from, to)
		row.Width = max(2, fallNames+within(start.Add(line.span.GetTook().AsDuration()), from, to)-row.Left)
		row.After = exactly(start.Sub(from))
		for _, a := range line.span.GetAttributes() {
			switch a.GetKey() {
			case telemetry.AttributeEvents:
				row.Events = a.GetValue()
			case telemetry.AttributeService:
				row.Service = a.GetValue()
			case telemetry.AttributeParked:
				row.Parked = a.GetValue()
			}
			if a.GetValue() != "" {
				row.Attributes = append(row.Attributes, a)
			}
		}
		view.Rows = append(view.Rows, row)
	}
	return view
}

// within gives where a moment lies between two others, in the waterfall's units.
func within(at, from, to time.Time) int { return placeOn(fallWide, at, from, to) }

// causeLine is a span with how deep it lies below its first cause.
type causeLine struct {
	span  *tracesv1.Span
	depth int
}

// byCause gives each span directly before what it brought about. A span whose
// cause is not here begins a tree of its own; who sends a circle gets it as a line.
func byCause(spans []*tracesv1.Span) []causeLine {
	here, children := map[string]bool{}, map[string][]*tracesv1.Span{}
	for _, s := range spans {
		here[s.GetSpanId()] = true
	}
	for _, s := range spans {
		parent := s.GetParentSpanId()
		if !here[parent] || parent == s.GetSpanId() {
			parent = ""
		}
		children[parent] = append(children[parent], s)
	}
	var lines []causeLine
	seen := map[string]bool{}
	var add func(s *tracesv1.Span, depth int)
	add = func(s *tracesv1.Span, depth int) {
		if seen[s.GetSpanId()] {
			return
		}
		seen[s.GetSpanId()] = true
		lines = append(lines, causeLine{span: s, depth: depth})
		below := children[s.GetSpanId()]
		slices.SortStableFunc(below, func(a, b *tracesv1.Span) int {
			return cmp.Compare(a.GetStart().AsTime().UnixNano(), b.GetStart().AsTime().UnixNano())
		})
		for _, child := range below {
			add(child, depth+1)
		}
	}
	for _, s := range children[""] {
		add(s, 0)
	}
	for _, s := range spans {
		add(s, 0)
	}
	return lines
}

// fallHeight of so many rows.
func fallHeight(rows int) int { return fallHead + fallRow*rows + 4 }
