package sitelog

import (
	"bytes"

	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/trace"
	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/telemetry"
	logv1 "ramprow/proto/ramprow/log/v1"
)

type (
	// task is one call that waits for the writer.
	task[S any] struct {
		// decide runs in the writer's goroutine, perhaps several times.
		decide func(w *writer[S], in Input) (draft, error)
		// command is nil for a view.
		command *logv1.CommandCause
		actor   Actor
		// trace holds the traceparent and tracestate of span, made by the caller.
		trace  logv1.Entry
		span   trace.Span
		done   chan answer
		joined []*task[S] // the same request again, while this one is under way
		tries  int
	}

	// answer is what a caller gets.
	answer struct {
		outcome Outcome
		err     error
		// first is set for a repeated request: its answer stands in the log.
		first *remembered
	}
)

func (t *task[S]) requestID() string { return t.command.GetRequestId() }

// sameAs tells whether another task is the same request with the same content.
func (t *task[S]) sameAs(other *task[S]) bool {
	return bytes.Equal(t.command.GetFingerprint(), other.command.GetFingerprint())
}

// answerTo gives every caller of a task its answer. It never blocks: each
// channel has room for the one answer that it will ever get.
// The caller itself comes last: from then on the response is its own, to change.
func (t *task[S]) answerTo(a answer) {
	for _, twin := range t.joined {
		b := a
		b.outcome.Repeated = a.err == nil
		if a.outcome.Response != nil {
			b.outcome.Response = proto.Clone(a.outcome.Response)
		}
		twin.done <- b
	}
	t.joined = nil
	t.done <- a
}

// tell writes the events of a decision on its span, if anybody looks. A decision
// that is made again replaces them.
func (t *task[S]) tell(events []proto.Message) {
	if t.span != nil && t.span.IsRecording() {
		t.span.SetAttributes(kinds(events), telemetry.About(events...))
		t.mark("decided")
	}
}

// mark notes a step of a task's way on its span, if anybody looks.
func (t *task[S]) mark(step string, attributes ...attribute.KeyValue) {
	if t.span != nil && t.span.IsRecording() {
		t.span.AddEvent(step, trace.WithAttributes(attributes...))
	}
}
