package sitelog

import (
	"context"
	"errors"
	"fmt"
	"time"

	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/trace"
	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/telemetry"
	logv1 "ramprow/proto/ramprow/log/v1"
)

const (
	firstPause = 5 * time.Millisecond
	longPause  = time.Second
	// maxSpurious bounds how often a refusal without a reason in the log is
	// tried again at once. Replicated streams give one now and then.
	maxSpurious = 3
)

type (
	// flight is a batch whose commit is being published, or, without entries,
	// one whose state is being compared with the tail of the log.
	flight[S any] struct {
		*batch[S]
		expected uint64
		commit   *logv1.Commit
		message  Message
		capture  *capture // when a snapshot is due once this is on disk
	}

	// landing is how a flight ended.
	landing struct {
		lost     bool   // somebody else wrote: decide again
		sequence uint64 // of the commit, or of the confirmed state
		err      error  // the writer cannot go on
	}
)

func (f *flight[S]) publishes() bool { return len(f.entries) > 0 }

// launch seals the open batch, starts its flight and opens the next batch.
func (w *writer[S]) launch() error {
	f := &flight[S]{batch: w.batch, expected: w.chain.Sequence}
	w.batch = &batch[S]{}
	w.flight = f
	if !f.publishes() {
		go func() { w.landings <- w.confirm(f) }()
		return nil
	}
	f.commit = f.seal(w.chain, w.o.NewID())
	data, err := proto.Marshal(f.commit)
	if err != nil {
		return fmt.Errorf("encode commit %d: %w", f.commit.GetNumber(), err)
	}
	f.message = Message{Header: headersOf(f.commit), Data: data}
	if w.active && w.saver.due(w.o) {
		f.capture = w.takeCapture()
	}
	span := w.publishSpan(f)
	size := attribute.Int("ramprow.batch.decisions", len(f.entries))
	for _, waits := range f.waiting {
		waits.task.mark("publishing", size)
	}
	go func() {
		began := time.Now()
		l := w.publish(f)
		if w.o.Committed != nil && l.err == nil && !l.lost {
			w.o.Committed(time.Since(began), len(f.entries))
		}
		endSpan(span, l.err)
		w.landings <- l
	}()
	return nil
}

// publishSpan is a child of the first decision, as the message's header says.
func (w *writer[S]) publishSpan(f *flight[S]) trace.Span {
	_, span := w.tracer.Start(traceOf(context.Background(), f.entries[0]), "send "+w.subject.Service+".{partition}.{site}",
		trace.WithSpanKind(trace.SpanKindProducer), messaging(w.subject.Service, "send", "send"))
	if span.IsRecording() {
		span.SetAttributes(
			attribute.String("messaging.destination.partition.id", Partition(w.subject.Site, w.o.Partitions)),
			attribute.String("messaging.message.id", f.commit.GetId()),
			attribute.Int("messaging.batch.message_count", 1),
			attribute.Int("ramprow.batch.decisions", len(f.entries)),
			attribute.Int("messaging.message.body.size", len(f.message.Data)),
			attribute.String(telemetry.AttributeService, w.subject.Service), attribute.String(telemetry.AttributeSite, w.subject.Site),
		)
	}
	return span
}

// confirm compares the state that a batch was seen on with the tail of the log.
func (w *writer[S]) confirm(f *flight[S]) landing {
	var l landing
	err := w.persist(func() error {
		last, err := w.log.Last(w.ctx, w.subject)
		if err != nil {
			return err
		}
		if last.Sequence < f.expected {
			return damaged(w.subject, f.expected, "it was on disk, and now the log ends at sequence %d", last.Sequence)
		}
		l = landing{sequence: f.expected, lost: last.Sequence > f.expected}
		return nil
	})
	l.err = err
	return l
}

// publish appends until the log itself says what became of the commit.
// Appending the same commit again is safe: the guard lets one copy in at most.
func (w *writer[S]) publish(f *flight[S]) landing {
	var l landing
	spurious := 0
	err := w.persist(func() error {
		sequence, err := w.log.Append(w.ctx, w.subject, f.expected, f.message)
		if err == nil {
			l = landing{sequence: sequence}
			return nil
		}
		if errors.Is(err, ErrTooLarge) {
			l.err = err
			return nil
		}
		found, readErr := w.look(f)
		switch {
		case readErr != nil:
			return readErr
		case found.settled:
			l = found.landing
			return nil
		case errors.Is(err, ErrConflict) && spurious >= maxSpurious:
			l.lost = true
			return nil
		case errors.Is(err, ErrConflict):
			spurious++
		}
		return err
	})
	if l.err == nil {
		l.err = err
	}
	return l
}

// sighting is what the log says about a commit.
type sighting struct {
	landing
	settled bool // false: nothing has been written after the guard yet
}

// look reads what was written after a flight's guard: our commit, somebody
// else's, or nothing.
func (w *writer[S]) look(f *flight[S]) (sighting, error) {
	var s sighting
	err := w.log.Read(w.ctx, w.subject, f.expected, func(r Record) error {
		// Only the first counts: nothing else can stand directly after the guard.
		commit, err := DecodeCommit(r.Data)
		ours := err == nil && commit.GetId() == f.commit.GetId()
		s = sighting{settled: true, landing: landing{sequence: r.Sequence, lost: !ours}}
		return errStop
	})
	if errors.Is(err, errStop) {
		err = nil
	}
	return s, err
}

// persist repeats until fn succeeds or its error is final. Meanwhile callers
// whose time is up learn that the log is away.
func (w *writer[S]) persist(fn func() error) error {
	began := time.Now()
	for pause := firstPause; ; pause = min(2*pause, longPause) {
		err := fn()
		if err == nil {
			w.trouble.Store(nil)
			return nil
		}
		if _, isDamage := asDamage(err); isDamage {
			return err
		}
		w.trouble.Store(&trouble{cause: err, since: began})
		w.o.Logger.Warn("the log does not answer as it should; trying again",
			"service", w.subject.Service, "site", w.subject.Site, "error", err)
		if !rest(w.ctx, pause) {
			return context.Cause(w.ctx)
		}
	}
}

// rest waits, and tells whether ctx is still alive.
func rest(ctx context.Context, d time.Duration) bool {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return true
	case <-ctx.Done():
		return false
	}
}
