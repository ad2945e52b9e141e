package sitelog

import (
	"errors"
	"fmt"
	"runtime/debug"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/anypb"

	"ramprow/internal/platform/fault"
	logv1 "ramprow/proto/ramprow/log/v1"
)

// decide handles one task: a repeat is pointed to its first answer, anything
// else is decided on the present state and waits for the disk.
func (w *writer[S]) decide(t *task[S]) {
	if w.repeats(t) {
		return
	}
	t.mark("deciding")
	d, err := w.ask(t)
	if err != nil || d.entry == nil {
		w.attach(waiting[S]{task: t, response: d.response, err: err})
		return
	}
	size := proto.Size(d.entry)
	if size > w.o.MaxCommitBytes {
		w.attach(waiting[S]{task: t, err: fault.New(fault.Invalid, ReasonTooLarge,
			"this request would write %d bytes at once, more than the %d that a commit may hold; split it", size, w.o.MaxCommitBytes)})
		return
	}
	if len(w.batch.entries) > 0 && w.batch.bytes+size > w.o.MaxCommitBytes {
		w.again = append([]*task[S]{t}, w.again...)
		w.batch.closed = true
		return
	}
	if err := w.apply(d, size); err != nil {
		t.answerTo(answer{err: panicked(err)})
		return
	}
	t.tell(d.messages)
	if t.requestID() != "" {
		w.open[t.requestID()] = t
	}
	w.batch.waiting = append(w.batch.waiting, waiting[S]{task: t, response: d.response})
}

// repeats answers a task whose request_id is known, or lets it join its twin
// that is under way.
func (w *writer[S]) repeats(t *task[S]) bool {
	if t.requestID() == "" {
		return false
	}
	if twin, ok := w.open[t.requestID()]; ok {
		if !twin.sameAs(t) {
			t.answerTo(answer{err: reused(t.requestID())})
			return true
		}
		twin.joined = append(twin.joined, t)
		return true
	}
	place, ok := w.ledger.requests.find(t.requestID())
	if !ok {
		return false
	}
	if place.fingerprint != short(t.command.GetFingerprint()) {
		t.answerTo(answer{err: reused(t.requestID())})
		return true
	}
	t.answerTo(answer{first: &place})
	return true
}

// ask runs a task's own decision. A panic in it is that task's failure only,
// because deciding changes nothing.
func (w *writer[S]) ask(t *task[S]) (d draft, err error) {
	recalled, err := w.recalling(func() (err error) {
		d, err = t.decide(w, w.input(t.actor))
		return err
	})
	if _, isPanic := errors.AsType[*panicError](err); isPanic {
		return draft{}, panicked(err)
	}
	if err == nil {
		err = d.fillWith(recalled)
	}
	if d.entry != nil {
		d.entry.Actor = actorTo(t.actor)
		d.entry.Traceparent, d.entry.Tracestate = t.trace.GetTraceparent(), t.trace.GetTracestate()
	}
	return d, err
}

func (w *writer[S]) input(actor Actor) Input {
	return Input{Site: w.subject.Site, Now: w.batch.now(w.o), Actor: actor, NewID: w.o.NewID}
}

// attach lets a task that changes nothing wait for everything it was decided
// on. A publish under way proves by its guard that the state was the newest;
// only without one the tail of the log must be looked at.
func (w *writer[S]) attach(a waiting[S]) {
	if len(w.batch.entries) == 0 && w.flight != nil && w.flight.publishes() {
		w.flight.waiting = append(w.flight.waiting, a)
		return
	}
	w.batch.waiting = append(w.batch.waiting, a)
}

// apply adds a decision to the batch and moves the state past it. An error
// means that Evolve failed, and that the state is spoiled.
func (w *writer[S]) apply(d draft, size int) error {
	err := guarded(func() error {
		frame := Event{
			Site:    w.subject.Site,
			Number:  w.nextNumber(),
			Time:    w.batch.time,
			Actor:   actorFrom(d.entry.GetActor()),
			TraceID: traceIDOf(d.entry.GetTraceparent()),
		}
		for _, message := range d.messages {
			frame.Message = message
			w.machine.Evolve(w.state, frame)
		}
		return nil
	})
	if err != nil {
		w.spoiled = true
		w.o.Logger.Error("evolve failed", "service", w.subject.Service, "site", w.subject.Site, "error", err)
		return err
	}
	w.batch.add(d.entry, size)
	w.ledger.note(d.entry, w.batch.time)
	return nil
}

// nextNumber is the number that the open batch will have as a commit.
func (w *writer[S]) nextNumber() uint64 {
	if w.flight != nil && w.flight.publishes() {
		return w.chain.Number + 2
	}
	return w.chain.Number + 1
}

// commandDraft turns a service's decision into an entry.
func commandDraft(cause *logv1.CommandCause, d Decision) (draft, error) {
	out := draft{response: d.Response}
	if len(d.Events) == 0 {
		return out, nil
	}
	filled := &logv1.CommandCause{
		Method:      cause.GetMethod(),
		RequestId:   cause.GetRequestId(),
		Fingerprint: cause.GetFingerprint(),
	}
	if d.Response != nil {
		packed, err := anypb.New(d.Response)
		if err != nil {
			return draft{}, fmt.Errorf("encode the response of %s: %w", cause.GetMethod(), err)
		}
		filled.Response = packed
	}
	out.entry = &logv1.Entry{Cause: &logv1.Entry_Command{Command: filled}}
	if err := out.fill(d.Events); err != nil {
		return draft{}, fmt.Errorf("encode the events of %s: %w", cause.GetMethod(), err)
	}
	return out, nil
}

// panicError is a defect in a service's pure functions.
type panicError struct {
	value any
	stack []byte
}

func (e *panicError) Error() string { return fmt.Sprintf("panic: %v\n%s", e.value, e.stack) }

// guarded runs a service's function, and turns a panic into an error.
func guarded(fn func() error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = &panicError{value: p, stack: debug.Stack()}
		}
	}()
	return fn()
}

func panicked(err error) error {
	return fault.New(fault.Internal, ReasonDecisionPanicked, "the decision failed by a defect in the program").Because(err)
}
