package sitelog

import (
	"fmt"

	logv1 "ramprow/proto/ramprow/log/v1"
)

// load rebuilds a site from its snapshot and what comes after it in the log, or
// from the start of the log. Replay makes no spans.
func (w *writer[S]) load() error {
	return w.persist(func() error {
		restored, err := w.snapshots().Restore(w.ctx, w.subject.Site)
		if err != nil {
			return err
		}
		if restored == nil {
			restored = &Restored[S]{State: w.machine.New(w.subject.Site), Chain: Chain{Subject: w.subject}, ledger: newLedger()}
		}
		w.state, w.ledger, w.chain, w.committedAt = restored.State, restored.ledger, restored.Chain, restored.committedAt
		w.saver.began(restored.size)
		return w.read()
	})
}

// catchUp reads what others have written since. Only right while nothing
// undurable is in the state.
func (w *writer[S]) catchUp() error {
	return w.persist(w.read)
}

func (w *writer[S]) read() error {
	return w.log.Read(w.ctx, w.subject, w.chain.Sequence, w.replay)
}

// replay takes one record into state, ledger and chain, wholly or not at all.
func (w *writer[S]) replay(r Record) error {
	next := w.chain
	commit, err := next.Next(r)
	if err != nil {
		return err
	}
	events, err := CommitEvents(commit, r.Sequence)
	if err != nil {
		return damaged(w.subject, r.Sequence, "%v", err)
	}
	if err := w.evolveAll(events); err != nil {
		return damaged(w.subject, r.Sequence, "its events cannot be applied: %v", err)
	}
	w.chain = next
	w.note(commit, r.Sequence)
	w.saver.count(r.Data)
	return nil
}

func (w *writer[S]) evolveAll(events []Event) error {
	for _, e := range events {
		if err := guarded(func() error { w.machine.Evolve(w.state, e); return nil }); err != nil {
			return fmt.Errorf("%s: %w", e.Message.ProtoReflect().Descriptor().FullName(), err)
		}
	}
	return nil
}

// note takes what a commit says beside its events.
func (w *writer[S]) note(commit *logv1.Commit, sequence uint64) {
	at := commit.GetTime().AsTime()
	for _, entry := range commit.GetEntries() {
		w.ledger.note(entry, at)
	}
	w.ledger.requests.remember(commit, sequence)
	w.committedAt = at
}
