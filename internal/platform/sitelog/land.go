package sitelog

import (
	"errors"
	"runtime"

	"go.opentelemetry.io/otel/attribute"
)

// maxTries bounds how often one command is decided again because another
// writer was first.
const maxTries = 16

var errDecidedAgain = errors.New("another writer was first; decided again")

// land takes a flight's end: answers, or decides everything again.
func (w *writer[S]) land(l landing) error {
	f := w.flight
	if l.err != nil {
		return l.err
	}
	w.flight = nil
	if l.lost {
		return w.decideAgain(f)
	}
	w.settle(f, l.sequence)
	// Whoever was answered may have its next command ready at once. Letting them
	// run first fills the next commit, instead of sending one command alone.
	runtime.Gosched()
	return nil
}

// settle answers everybody who waited for a flight that is on disk.
func (w *writer[S]) settle(f *flight[S], sequence uint64) {
	if f.publishes() {
		w.chain.extend(sequence, f.commit.GetId(), f.message.Data)
		w.committedAt = f.time
		w.ledger.requests.remember(f.commit, sequence)
		w.saver.count(f.message.Data)
		w.saveInBackground(f.capture)
	}
	at := attribute.Int64("ramprow.revision", int64(sequence)) //nolint:gosec // far below the limit
	for _, waits := range f.waiting {
		t := waits.task
		delete(w.open, t.requestID())
		t.mark("on disk", at)
		t.answerTo(answer{err: waits.err, outcome: Outcome{
			Response:    waits.response,
			Revision:    sequence,
			CommittedAt: w.committedAt,
			TraceID:     traceIDOf(t.trace.GetTraceparent()),
		}})
	}
	f.endSpans(nil)
	if f.publishes() {
		w.tellMoved()
	}
}

// decideAgain throws away what was decided and is not on disk, brings the state
// up to the log, and lines the callers up again in their old order. Reactions
// and timers are not lined up: followers start again from the position that the
// log itself holds, and due times stand in the state.
func (w *writer[S]) decideAgain(lost *flight[S]) error {
	// A snapshot is a shorter way than all that was written while another was active.
	speculative := w.mustReload() || len(w.batch.entries) > 0
	var tasks []*task[S]
	if lost != nil {
		speculative = speculative || lost.publishes()
		tasks = append(tasks, lost.tasks()...)
		lost.endSpans(errDecidedAgain)
	}
	tasks = append(tasks, w.batch.tasks()...)
	w.batch.endSpans(errDecidedAgain)
	w.batch = &batch[S]{}
	w.spoiled, w.behind = false, false
	clear(w.open)
	w.again = append(w.lineUp(tasks), w.again...)

	bring := w.catchUp
	if speculative {
		bring = w.load
	}
	if err := bring(); err != nil {
		return err
	}
	w.foreign.cancel()
	w.follow()
	return nil
}

// lineUp keeps the tasks that may try again, and refuses the others.
func (w *writer[S]) lineUp(tasks []*task[S]) []*task[S] {
	kept := tasks[:0]
	for _, t := range tasks {
		t.tries++
		if t.tries >= maxTries {
			t.answerTo(answer{err: contended(w.subject, t.tries)})
			continue
		}
		t.mark("decided again")
		kept = append(kept, t)
	}
	return kept
}

// tasks gives who waits for a batch, in order.
func (b *batch[S]) tasks() []*task[S] {
	tasks := make([]*task[S], len(b.waiting))
	for i, waits := range b.waiting {
		tasks[i] = waits.task
	}
	return tasks
}
