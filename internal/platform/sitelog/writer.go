package sitelog

import (
	"context"
	"errors"
	"sync/atomic"
	"time"

	"go.opentelemetry.io/otel/trace"
)

// writer decides for one site. Its goroutine alone owns the state; a publish
// under way is the only thing that happens beside it.
type writer[S any] struct {
	machine Machine[S]
	log     Log
	o       Options
	tracer  trace.Tracer
	subject Subject

	// ctx ends the writer at once; stop lets it finish what waits.
	ctx     context.Context //nolint:containedctx // it is the goroutine's life, not a call's
	inbox   chan *task[S]
	stop    chan struct{}
	stopped chan struct{}
	failure error                   // why it stopped; read only after stopped is closed
	trouble atomic.Pointer[trouble] // nil while the log answers

	// The fold of what is in the log and in flight and batch.
	state  S
	ledger *ledger

	chain       Chain     // what is known to be on disk
	committedAt time.Time // of the last commit on disk
	flight      *flight[S]
	landings    chan landing
	batch       *batch[S]
	again       []*task[S]          // to be decided before anything from the inbox
	open        map[string]*task[S] // by request_id, decided and not yet on disk
	spoiled     bool                // an Evolve failed half-way: the state must be rebuilt
	draining    bool
	active      bool          // reactions, timers and snapshots are this writer's to do
	behind      bool          // it has become active: others may have written meanwhile
	wake        chan struct{} // holds a token when Active may answer otherwise

	gauges gauges
	moved  *hearer

	foreign followers
	alarm   alarm
	saver   saver
}

// run is the writer's goroutine.
func (w *writer[S]) run() {
	defer close(w.stopped)
	w.alarm.timer = time.NewTimer(maxSleep)
	defer w.alarm.timer.Stop()
	w.active = w.shouldBeActive()
	err := w.load()
	if err == nil {
		w.follow()
		defer func() { w.foreign.cancel() }()
		w.gauges.active.Store(w.active)
		w.tellMoved()
	}
	for err == nil && !w.finished() {
		err = w.step()
	}
	w.end(err)
	w.saver.wait()
	if err == nil {
		w.saveLast()
	}
}

// step does what can be done at once, then waits for one thing to happen.
func (w *writer[S]) step() error {
	if w.mustReload() && w.flight == nil {
		return w.decideAgain(nil)
	}
	w.fireDue()
	w.fill()
	if w.flight == nil && !w.mustReload() && !w.batch.empty() {
		if err := w.launch(); err != nil {
			return err
		}
	}
	if w.finished() || w.mustReload() && w.flight == nil {
		return nil
	}
	w.gauges.set(len(w.ledger.parked), w.active, w.foreign.seen) // all that fill has done is in it
	select {
	case t := <-w.commands():
		w.decide(t)
	case f := <-w.reactions():
		w.react(f)
	case l := <-w.landings:
		return w.land(l)
	case <-w.alarm.timer.C:
	case <-w.wake:
		w.rouse()
	case <-w.stopping():
		w.draining = true
	case <-w.ctx.Done():
		return context.Cause(w.ctx)
	}
	return nil
}

// fill decides what already waits, as far as the batch takes it.
func (w *writer[S]) fill() {
	for len(w.again) > 0 && w.accepts() {
		t := w.again[0]
		w.again = w.again[1:]
		w.decide(t)
	}
	for w.accepts() {
		select {
		case t := <-w.commands():
			w.decide(t)
		case f := <-w.reactions():
			w.react(f)
		default:
			return
		}
	}
}

func (w *writer[S]) accepts() bool { return !w.mustReload() && !w.batch.full(w.o) }

// commands, reactions and stopping give a channel to select on, or nil when
// the writer must not take from it now.
func (w *writer[S]) commands() <-chan *task[S] {
	if !w.accepts() {
		return nil
	}
	return w.inbox
}

func (w *writer[S]) reactions() <-chan foreignCommit {
	if !w.accepts() || w.draining || !w.active {
		return nil
	}
	return w.foreign.commits
}

func (w *writer[S]) stopping() <-chan struct{} {
	if w.draining {
		return nil
	}
	return w.stop
}

// finished tells that a draining writer has nothing left to do.
func (w *writer[S]) finished() bool {
	return w.draining && w.flight == nil && w.batch.empty() && len(w.again) == 0 && len(w.inbox) == 0
}

// end answers everybody who still waits.
func (w *writer[S]) end(err error) {
	w.failure = err
	if err != nil && !errors.Is(err, errAbandoned) {
		w.o.Logger.Error("site writer stopped", "service", w.subject.Service, "site", w.subject.Site, "error", err)
	}
	left := w.again
	if w.flight != nil {
		left = append(left, w.flight.tasks()...)
		w.flight.endSpans(err)
	}
	if w.batch != nil {
		left = append(left, w.batch.tasks()...)
		w.batch.endSpans(err)
	}
	for _, t := range left {
		t.answerTo(answer{err: outward(w.subject, err)})
	}
}
