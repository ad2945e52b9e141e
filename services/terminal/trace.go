package terminal

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/durationpb"

	"ramprow/internal/platform/telemetry"
	tracesv1 "ramprow/proto/ramprow/traces/v1"
)

func traceCommands() *cobra.Command {
	return tree("trace", "What was called, decided and brought about, and how long it took (for the owner)",
		"  ramprow trace find --job 17\n  ramprow trace show 0af7651916cd43dd8448eb211c80319c",
		traceFind, traceShow, traceStore,
	)
}

// traceQuery is what `trace find` is told.
type traceQuery struct {
	job, about, person, service, since, until, text string
	atLeast                                         time.Duration
	failed, parked                                  bool
	limit                                           int
}

func (q *traceQuery) request(now time.Time) (*tracesv1.FindTracesRequest, error) {
	if q.job != "" && q.about != "" {
		return nil, errors.New("--job and --about say the same; give one of them")
	}
	r := &tracesv1.FindTracesRequest{
		About: q.about, Person: q.person, Service: q.service, Text: q.text, ErrorsOnly: q.failed, ParkedOnly: q.parked,
	}
	var err error
	if q.job != "" {
		if r.About, err = jobName(q.job); err != nil {
			return nil, err
		}
	}
	if r.Since, err = optionalTime("since", q.since, now); err != nil {
		return nil, err
	}
	if r.Until, err = optionalTime("until", q.until, now); err != nil {
		return nil, err
	}
	if q.atLeast > 0 {
		r.AtLeast = durationpb.New(q.atLeast)
	}
	return r, nil
}

func traceFind(o *options) *cobra.Command {
	q := &traceQuery{}
	command := &cobra.Command{
		Use:   "find",
		Short: "Find traces by job, person, time, slowness or error, newest first",
		Example: "  ramprow trace find --job 17\n  ramprow trace find --person tomas --since today\n" +
			"  ramprow trace find --at-least 1s\n  ramprow trace find --failed --output json",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			request, err := q.request(s.now())
			if err != nil {
				return err
			}
			rows, err := collect(s, q.limit, func(size int32, token string) ([]*tracesv1.TraceSummary, string, error) {
				request.PageSize, request.PageToken = size, token
				r, err := s.Traces.FindTraces(ctx, request)
				return r.GetTraces(), r.GetNextPageToken(), err
			})
			if err != nil {
				return err
			}
			return showList(s, rows, "No trace is like that. `ramprow trace store` says how far back they reach.", traceColumns(s.now()))
		}),
	}
	f := command.Flags()
	f.StringVar(&q.job, "job", "", "only about this job")
	f.StringVar(&q.about, "about", "", "only about this thing, as in bays/2 or orders/4")
	f.StringVar(&q.person, "person", "", "only caused by this person")
	f.StringVar(&q.service, "service", "", "only with this service: "+strings.Join(RoleNames(), ", "))
	f.StringVar(&q.since, "since", "", "begun at this time or later")
	f.StringVar(&q.until, "until", "", "begun before this time")
	f.StringVar(&q.text, "name", "", "with a span whose name holds this")
	f.DurationVar(&q.atLeast, "at-least", 0, "with a span that took as long, as in 500ms")
	f.BoolVar(&q.failed, "failed", false, "with a span that failed or was refused")
	f.BoolVar(&q.parked, "parked", false, "with an event that was parked")
	limitFlag(command, &q.limit)
	completeFlag(command, "service", RoleNames()...)
	return command
}

// mostNamed keeps a row on a line: a trace of a busy moment is about dozens of things.
const mostNamed = 4

// firstOf lists the first of some names and says how many more there are.
func firstOf(names []string, most int) string {
	if len(names) <= most {
		return strings.Join(names, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(names[:most], ", "), len(names)-most)
}

func traceColumns(now time.Time) []column[*tracesv1.TraceSummary] {
	return []column[*tracesv1.TraceSummary]{
		left("TRACE", (*tracesv1.TraceSummary).GetTraceId),
		left("BEGUN", func(t *tracesv1.TraceSummary) string { return at(t.GetStart(), now) }),
		figure("TOOK", func(t *tracesv1.TraceSummary) string { return exactly(t.GetTook()) }),
		figure("SPANS", func(t *tracesv1.TraceSummary) string { return figures(t.GetSpans()) }),
		left("WHO", func(t *tracesv1.TraceSummary) string { return strings.Join(t.GetPeople(), ", ") }),
		left("ABOUT", func(t *tracesv1.TraceSummary) string { return firstOf(t.GetAbout(), mostNamed) }),
		left("WHAT", (*tracesv1.TraceSummary).GetName),
		left("WRONG", func(t *tracesv1.TraceSummary) string {
			if t.GetParked() > 0 {
				return strings.TrimSpace(plural(t.GetParked(), "event") + " parked " + t.GetError())
			}
			return t.GetError()
		}),
	}
}

// exactly writes a time that a program took: to a tenth of a millisecond below a second.
func exactly(d *durationpb.Duration) string {
	length := d.AsDuration()
	if length < time.Second {
		return fmt.Sprintf("%.1f ms", float64(length)/float64(time.Millisecond))
	}
	return fmt.Sprintf("%.2f s", length.Seconds())
}

func traceShow(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "show TRACE",
		Short:   "Show one trace: its calls, decisions, messages and reactions, in the order in which they began",
		Example: "  ramprow trace show 0af7651916cd43dd8448eb211c80319c\n  ramprow trace show 0af7651916cd43dd8448eb211c80319c --output json",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			r, err := s.Traces.GetTrace(ctx, &tracesv1.GetTraceRequest{TraceId: args[0]})
			if err != nil {
				return err
			}
			if s.json {
				return s.showJSON(r)
			}
			return showTrace(s, r)
		}),
	}
}

func showTrace(s *session, r *tracesv1.GetTraceResponse) error {
	t := r.GetSummary()
	var c card
	c.add("trace", t.GetTraceId())
	c.add("begun", at(t.GetStart(), s.now()))
	c.add("lasted", exactly(t.GetLasted()))
	c.add("who", strings.Join(t.GetPeople(), ", "))
	c.add("about", strings.Join(t.GetAbout(), ", "))
	c.add("wrong", t.GetError())
	if t.GetLostSpans() > 0 {
		c.add("lost", plural(t.GetLostSpans(), "span")+" that came when the trace was full")
	}
	if err := c.write(s.out); err != nil {
		return err
	}
	if err := s.say(""); err != nil {
		return err
	}
	depths := spanDepths(r.GetSpans())
	begun := t.GetStart().AsTime()
	return writeTable(s.out, r.GetSpans(), []column[*tracesv1.Span]{
		figure("AFTER", func(p *tracesv1.Span) string { return exactly(durationpb.New(p.GetStart().AsTime().Sub(begun))) }),
		figure("TOOK", func(p *tracesv1.Span) string { return exactly(p.GetTook()) }),
		left("PROCESS", (*tracesv1.Span).GetProcess),
		left("WHAT", func(p *tracesv1.Span) string { return strings.Repeat("  ", depths[p.GetSpanId()]) + p.GetName() }),
		left("EVENTS", func(p *tracesv1.Span) string { return attributeOf(p, telemetry.AttributeEvents) }),
		left("WRONG", func(p *tracesv1.Span) string {
			if id := attributeOf(p, telemetry.AttributeParked); id != "" {
				return "parked as " + id + ": " + p.GetError()
			}
			return p.GetError()
		}),
	})
}

func attributeOf(s *tracesv1.Span, key string) string {
	if i := slices.IndexFunc(s.GetAttributes(), func(a *tracesv1.Attribute) bool { return a.GetKey() == key }); i >= 0 {
		return s.GetAttributes()[i].GetValue()
	}
	return ""
}

// spanDepths gives how deep each span lies below what caused it.
func spanDepths(spans []*tracesv1.Span) map[string]int {
	parents := map[string]string{}
	for _, s := range spans {
		parents[s.GetSpanId()] = s.GetParentSpanId()
	}
	depths := map[string]int{}
	for id := range parents {
		depth := 0
		// Whoever sends spans could send a circle.
		for at := parents[id]; depth < len(spans); at = parents[at] {
			if _, here := parents[at]; !here {
				break
			}
			depth++
		}
		depths[id] = depth
	}
	return depths
}

func traceStore(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "store",
		Short:   "Tell how full the store of traces is and how far back it reaches",
		Example: "  ramprow trace store",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			r, err := s.Traces.DescribeStore(ctx, &tracesv1.DescribeStoreRequest{})
			if err != nil {
				return err
			}
			if s.json {
				return s.showJSON(r)
			}
			var c card
			c.add("traces", figures(r.GetTraces()))
			c.add("spans", figures(r.GetSpans()))
			c.add("memory", fmt.Sprintf("%.1f of %d MB", float64(r.GetBytes())/(1<<20), r.GetLimitBytes()>>20))
			c.add("kept for", r.GetLimitAge().AsDuration().String())
			c.add("slow from", r.GetSlow().AsDuration().String())
			c.add("oldest", at(r.GetOldest(), s.now()))
			c.add("received", figures(r.GetReceivedSpans())+" spans since the process began")
			c.add("refused", figures(r.GetRefusedSpans())+" spans for their form")
			c.add("made room", plural(int64(r.GetEvictedTraces()), "trace")) //nolint:gosec // a count
			return c.write(s.out)
		}),
	}
}
