package telemetry

import (
	"sync/atomic"
	"time"

	"go.opentelemetry.io/otel/attribute"
	sdktrace "go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/trace"
)

// DefaultTracesPerSecond is how many new traces a process records in a second.
// People at work cause far fewer; a load test causes thousands, and pays for these.
const DefaultTracesPerSecond = 50

// keptMark has a name that no instrumentation gives.
var keptMark = attribute.Bool("ramprow.after_the_fact", true)

// Kept is the start attribute of a span that is recorded whatever was decided on
// its trace: it tells of an error or of a slow call after the fact.
var Kept = trace.WithAttributes(keptMark)

// sampler records whole traces up to a number in a second. Where a trace has been
// decided on, the decision stands; only a server asks anew about a caller that
// records nothing, as a terminal does.
type sampler struct {
	perSecond int64
	now       func() time.Time

	second, count atomic.Int64
}

// ShouldSample implements sdktrace.Sampler.
func (s *sampler) ShouldSample(p sdktrace.SamplingParameters) sdktrace.SamplingResult {
	parent := trace.SpanContextFromContext(p.ParentContext)
	result := sdktrace.SamplingResult{Decision: sdktrace.Drop, Tracestate: parent.TraceState()}
	decided := parent.IsValid() && (!parent.IsRemote() || p.Kind != trace.SpanKindServer)
	if parent.IsSampled() || !decided && s.room() || isKept(p) {
		result.Decision = sdktrace.RecordAndSample
	}
	return result
}

// Description implements sdktrace.Sampler.
func (s *sampler) Description() string { return "whole traces up to a number in a second" }

// room takes one of this second's traces. Two calls that see a new second at once
// may let one too many in, which does no harm.
func (s *sampler) room() bool {
	now := s.now().Unix()
	if before := s.second.Load(); before != now && s.second.CompareAndSwap(before, now) {
		s.count.Store(0)
	}
	return s.count.Add(1) <= s.perSecond
}

func isKept(p sdktrace.SamplingParameters) bool {
	for _, a := range p.Attributes {
		if a.Key == keptMark.Key {
			return true
		}
	}
	return false
}
