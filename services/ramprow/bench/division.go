package bench

import (
	"context"
	"slices"
	"strings"
	"sync"
	"time"

	sdktrace "go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/trace"
)

// Stages of a command's way, in order. Each ends where the next begins; the
// first is what the call takes besides, out and back.
var stages = []struct{ from, name string }{
	{"", "the call out and back"},
	{"asked", "waiting for the site's writer"},
	{"deciding", "deciding"},
	{"decided", "waiting for the commit before"},
	{"publishing", "publishing, synced to disk"},
	{"on disk", "waking the caller"},
}

// recorder is a span processor that takes the ways of commands apart: the
// caller's span around all of it, and the site log's with its marks inside.
type recorder struct {
	mu       sync.Mutex
	deciding map[trace.TraceID]sdktrace.ReadOnlySpan // until the caller's span ends
	ways     [][]time.Duration                       // one value a stage
	batches  []int64                                 // commands of the commit that each shared
}

func newRecorder() *recorder {
	return &recorder{deciding: map[trace.TraceID]sdktrace.ReadOnlySpan{}}
}

// OnStart implements sdktrace.SpanProcessor.
func (*recorder) OnStart(context.Context, sdktrace.ReadWriteSpan) {}

// OnEnd implements sdktrace.SpanProcessor.
func (r *recorder) OnEnd(s sdktrace.ReadOnlySpan) {
	r.mu.Lock()
	defer r.mu.Unlock()
	id := s.SpanContext().TraceID()
	switch {
	case strings.HasPrefix(s.Name(), "decide "):
		r.deciding[id] = s
	case s.SpanKind() == trace.SpanKindClient:
		if inner := r.deciding[id]; inner != nil {
			r.keep(s, inner)
		}
		delete(r.deciding, id)
	}
}

// keep takes a command's way apart. One that was decided twice, or joined
// another, has no plain way and is left out.
func (r *recorder) keep(outer, inner sdktrace.ReadOnlySpan) {
	marks := inner.Events()
	if len(marks) != len(stages)-2 {
		return
	}
	way := []time.Duration{outer.EndTime().Sub(outer.StartTime()) - inner.EndTime().Sub(inner.StartTime())}
	at := inner.StartTime()
	for i, mark := range marks {
		if mark.Name != stages[i+2].from {
			return
		}
		way = append(way, mark.Time.Sub(at))
		at = mark.Time
		for _, a := range mark.Attributes {
			if a.Key == "ramprow.batch.decisions" {
				r.batches = append(r.batches, a.Value.AsInt64())
			}
		}
	}
	r.ways = append(r.ways, append(way, inner.EndTime().Sub(at)))
}

// ForceFlush implements sdktrace.SpanProcessor.
func (*recorder) ForceFlush(context.Context) error { return nil }

// Shutdown implements sdktrace.SpanProcessor.
func (*recorder) Shutdown(context.Context) error { return nil }

// Division is where the time of a command goes, with every span recorded,
// which takes time of its own.
type Division struct {
	Callers  int `json:"callers"`
	Commands int `json:"commands"`
	// Batch is the median of how many commands shared a commit.
	Batch  int64   `json:"commands_per_commit"`
	Stages []Stage `json:"stages"`
}

// Stage is a part of a command's way; its median over the commands.
type Stage struct {
	Name         string  `json:"name"`
	MedianMicros float64 `json:"median_us"`
}

// take gives what was recorded, and begins anew.
func (r *recorder) take(callers int) Division {
	r.mu.Lock()
	defer r.mu.Unlock()
	d := Division{Callers: callers, Commands: len(r.ways), Batch: Median(r.batches)}
	for i, stage := range stages {
		var values []time.Duration
		for _, way := range r.ways {
			values = append(values, way[i])
		}
		slices.Sort(values)
		d.Stages = append(d.Stages, Stage{Name: stage.name, MedianMicros: micros(Percentile(values, 50))})
	}
	r.ways, r.batches = nil, nil
	return d
}

func micros(d time.Duration) float64 { return float64(d.Nanoseconds()) / 1e3 }

// divide runs commands on a stand of their own, whose spans are recorded.
func divide(ctx context.Context, c Config, place Place) (divisions []Division, err error) {
	r := newRecorder()
	s, err := open(ctx, c.Dir, place, r)
	if err != nil {
		return nil, err
	}
	defer func() { err = joinClose(err, s) }()
	shelf, err := newShelf(ctx, s, c.site("traced"))
	if err != nil {
		return nil, err
	}
	for _, callers := range c.Callers {
		r.take(callers)
		_, err := load(shelf.ctx, callers, c.Duration/2, task{do: func(ctx context.Context, caller int) error {
			_, err := shelf.receive(ctx, caller)
			return err
		}})
		if err != nil {
			return nil, err
		}
		divisions = append(divisions, r.take(callers))
	}
	return divisions, nil
}
