package sitelog

import (
	"context"
	"errors"
	"maps"
	"sync"
	"time"
	"unicode/utf8"

	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/trace"
	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/telemetry"
	logv1 "ramprow/proto/ramprow/log/v1"
)

// Description says how far a site's log goes.
type Description struct {
	Revision  uint64            // stream sequence of the newest commit
	Commits   uint64            // how many there are
	Positions map[string]uint64 // stream sequence up to which each followed log was read
	Parked    int
}

// Do decides a command and answers once it is on disk. When ctx ends first, the
// command may still be committed; the same RequestID finds out.
func (r *Runner[S]) Do(ctx context.Context, site string, c Command[S]) (Outcome, error) {
	cause, err := causeOf(c.Method, c.RequestID, c.Request)
	if err != nil {
		return Outcome{}, err
	}
	return r.call(ctx, site, c.Actor, cause, func(w *writer[S], in Input) (draft, error) {
		d, err := c.Decide(w.state, in)
		if err != nil {
			return draft{}, err
		}
		return commandDraft(cause, d)
	})
}

// View reads the state. It returns when everything that fn has seen is on disk
// and was the newest at some time during the call; fn must not keep or change
// the state, and may run several times.
func (r *Runner[S]) View(ctx context.Context, site string, fn func(state S) error) (revision uint64, err error) {
	return r.look(ctx, site, func(w *writer[S]) error { return fn(w.state) })
}

// Describe says how far a site's log goes and what is parked.
func (r *Runner[S]) Describe(ctx context.Context, site string) (Description, error) {
	var d Description
	revision, err := r.look(ctx, site, func(w *writer[S]) error {
		d = Description{
			Commits:   w.nextNumber() - 1,
			Positions: maps.Clone(w.foreign.seen),
			Parked:    len(w.ledger.parked),
		}
		if len(w.batch.entries) > 0 {
			d.Commits++
		}
		return nil
	})
	if err != nil {
		return Description{}, err
	}
	d.Revision = revision
	return d, nil
}

// causeOf names a call in the log.
func causeOf(method, requestID string, request proto.Message) (*logv1.CommandCause, error) {
	if method == "" || !utf8.ValidString(method) || len(requestID) > maxRequestID || !utf8.ValidString(requestID) {
		return nil, fault.New(fault.Invalid, ReasonBadCommand, "a command needs a method, and a request_id of at most %d bytes", maxRequestID).
			WithField("request_id", "at most %d bytes of text", maxRequestID)
	}
	fingerprint, err := Fingerprint(method, request)
	if err != nil {
		return nil, fault.New(fault.Invalid, ReasonBadCommand, "the request of %s cannot be encoded", method).Because(err)
	}
	return &logv1.CommandCause{Method: method, RequestId: requestID, Fingerprint: fingerprint}, nil
}

// call sends a mutating task to the writer under a span of its own.
func (r *Runner[S]) call(ctx context.Context, site string, actor Actor, cause *logv1.CommandCause,
	decide func(*writer[S], Input) (draft, error),
) (out Outcome, err error) {
	ctx, span := r.tracer.Start(ctx, "decide "+cause.GetMethod(), trace.WithSpanKind(trace.SpanKindInternal))
	defer func() { endSpan(span, err) }()
	if span.IsRecording() {
		span.SetAttributes(attribute.String(telemetry.AttributeService, r.machine.Service), attribute.String(telemetry.AttributeSite, site))
	}
	t := &task[S]{decide: decide, command: cause, actor: actor, span: span, done: make(chan answer, 1)}
	stamp(ctx, &t.trace)
	a, err := r.submit(ctx, site, t)
	if err != nil {
		return Outcome{}, err
	}
	if a.first != nil {
		return r.firstAnswer(ctx, site, *a.first)
	}
	return a.outcome, a.err
}

// look sends a reading task to the writer. After it has returned, fn does not run
// any more: what fn fills in is the caller's.
func (r *Runner[S]) look(ctx context.Context, site string, fn func(*writer[S]) error) (uint64, error) {
	var running sync.Mutex
	left := false
	t := &task[S]{done: make(chan answer, 1), decide: func(w *writer[S], _ Input) (draft, error) {
		running.Lock()
		defer running.Unlock()
		if left {
			return draft{}, context.Canceled
		}
		return draft{}, fn(w)
	}}
	a, err := r.submit(ctx, site, t)
	if err != nil {
		running.Lock()
		defer running.Unlock()
		left = true
		return 0, err
	}
	return a.outcome.Revision, a.err
}

// submit lines a task up and waits for its answer.
func (r *Runner[S]) submit(ctx context.Context, site string, t *task[S]) (answer, error) {
	w, err := r.writer(site)
	if err != nil {
		return answer{}, err
	}
	select {
	case <-w.stopped:
		return answer{}, outward(w.subject, w.failure)
	default:
	}
	select {
	case w.inbox <- t:
	default:
		return answer{}, queueFull(w.subject, r.o.Queue)
	}
	look := time.NewTimer(awayAfter)
	defer look.Stop()
	for waits := true; waits; {
		select {
		case a := <-t.done:
			return a, nil
		case <-ctx.Done():
			return answer{}, w.waitEnded(ctx)
		case <-look.C:
			if err := w.away(); err != nil {
				return answer{}, err
			}
			look.Reset(awayLook)
		case <-w.stopped:
			waits = false
		}
	}
	select {
	case a := <-t.done: // it was answered just before the writer ended
		return a, nil
	default:
		return answer{}, outward(w.subject, w.failure)
	}
}

const (
	// awayAfter is how long a caller waits for a log that does not answer before it
	// is told, instead of for as long as it has time. It is longer than the writer
	// rests between two tries.
	awayAfter = 2 * time.Second
	awayLook  = awayAfter / 8
)

// trouble is a log that does not answer.
type trouble struct {
	cause error // of the last try
	since time.Time
}

// away gives what callers are told when the log has not answered for long.
func (w *writer[S]) away() error {
	if t := w.trouble.Load(); t != nil && time.Since(t.since) >= awayAfter {
		return logAway(w.subject, t.cause)
	}
	return nil
}

// waitEnded says why a caller got no answer in its time.
func (w *writer[S]) waitEnded(ctx context.Context) error {
	if t := w.trouble.Load(); t != nil {
		return logAway(w.subject, t.cause)
	}
	kind := fault.Canceled
	if errors.Is(ctx.Err(), context.DeadlineExceeded) {
		kind = fault.Deadline
	}
	return fault.New(kind, ReasonWaitEnded,
		"the call ended before %s at site %s had answered; send the same request_id again to learn the outcome",
		w.subject.Service, w.subject.Site).Because(ctx.Err())
}

// firstAnswer reads what a request was answered the first time.
func (r *Runner[S]) firstAnswer(ctx context.Context, site string, place remembered) (Outcome, error) {
	subject := Subject{Service: r.machine.Service, Site: site}
	out := Outcome{Revision: place.sequence, Repeated: true}
	err := r.log.Read(ctx, subject, place.sequence-1, func(rec Record) error {
		commit, err := DecodeCommit(rec.Data)
		if err != nil || rec.Sequence != place.sequence || int(place.entry) >= len(commit.GetEntries()) {
			return damaged(subject, place.sequence, "the first answer of a repeated request is not there")
		}
		out.CommittedAt = commit.GetTime().AsTime()
		entry := commit.GetEntries()[place.entry]
		out.TraceID = traceIDOf(entry.GetTraceparent())
		if packed := commandOf(entry).GetResponse(); packed != nil {
			if out.Response, err = packed.UnmarshalNew(); err != nil {
				return damaged(subject, place.sequence, "the first answer cannot be read: %v", err)
			}
		}
		return errStop
	})
	if errors.Is(err, errStop) {
		return out, nil
	}
	if _, isDamage := asDamage(err); isDamage {
		return Outcome{}, outward(subject, err)
	}
	return Outcome{}, logAway(subject, err)
}
