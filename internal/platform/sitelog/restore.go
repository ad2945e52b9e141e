package sitelog

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"log/slog"
	"time"
)

// Snapshots restores sites of one machine.
type Snapshots[S any] struct {
	Store   SnapshotStore // nil: there are no snapshots
	Log     Log
	Machine Machine[S]
	Logger  *slog.Logger
}

// Restored is a site as its snapshot gives it. Nobody else holds the state.
type Restored[S any] struct {
	State    S
	Chain    Chain  // up to the last commit that is in the state
	CommitID string // of that commit

	ledger      *ledger
	committedAt time.Time
	size        int // of the snapshot in bytes
}

// Restore gives a site from its snapshot, or nil if there is none that can be
// relied on; one that is in doubt is thrown away. The error is the log's: it
// cannot be read, or it has lost what was on disk when the snapshot was taken.
func (s Snapshots[S]) Restore(ctx context.Context, site string) (*Restored[S], error) {
	if s.Store == nil || s.Machine.Restore == nil {
		return nil, nil //nolint:nilnil // no snapshot is no error
	}
	subject := Subject{Service: s.Machine.Service, Site: site}
	packed, err := s.Store.Get(ctx, subject, s.Machine.Schema)
	if err != nil {
		s.Logger.Warn("the snapshot cannot be read; the whole log is", "service", subject.Service, "site", site, "error", err)
		return nil, nil //nolint:nilnil // the log will do
	}
	if packed == nil {
		return nil, nil //nolint:nilnil // no snapshot is no error
	}
	restored, doubt, err := s.open(ctx, subject, packed)
	if err != nil {
		return nil, err
	}
	if doubt != nil {
		s.Logger.Warn("the snapshot is thrown away; the whole log is read",
			"service", subject.Service, "site", site, "reason", doubt)
		if err := s.Store.Delete(ctx, subject, s.Machine.Schema); err != nil {
			s.Logger.Warn("the snapshot cannot be deleted", "service", subject.Service, "site", site, "error", err)
		}
		return nil, nil //nolint:nilnil // the log will do
	}
	return restored, nil
}

// open checks a snapshot by itself and against the log. doubt says why it
// cannot be relied on.
func (s Snapshots[S]) open(ctx context.Context, subject Subject, packed []byte) (r *Restored[S], doubt, err error) {
	f, doubt := unpackImage(packed, subject, s.Machine.Schema)
	if doubt != nil {
		return nil, doubt, nil
	}
	r = &Restored[S]{Chain: *f.chain(), committedAt: f.CommittedAt, size: len(packed)}
	if r.CommitID, doubt, err = r.Chain.commitIn(ctx, s.Log); doubt != nil || err != nil {
		return nil, doubt, err
	}
	if r.ledger, doubt = f.ledger(); doubt != nil {
		return nil, doubt, nil
	}
	doubt = guarded(func() (err error) {
		r.State, err = s.Machine.Restore(subject.Site, f.State)
		return err
	})
	return r, doubt, nil
}

// commitIn finds the chain's last commit in the log. The log of the chain must
// hold it, since it was on disk: if not, the error is a *DamagedError. doubt
// says that this is another log.
func (c *Chain) commitIn(ctx context.Context, log Log) (id string, doubt, err error) {
	at, err := firstAfter(ctx, log, c.Subject, c.Sequence-1)
	if err != nil {
		return "", nil, err
	}
	sum := sha256.Sum256(at.Data)
	commit, broken := DecodeCommit(at.Data)
	if at.Sequence == c.Sequence && bytes.Equal(sum[:], c.Hash) && broken == nil && commit.GetNumber() == c.Number {
		return commit.GetId(), nil, nil
	}
	start, err := firstAfter(ctx, log, c.Subject, 0)
	if err != nil {
		return "", nil, err
	}
	if first, broken := DecodeCommit(start.Data); broken != nil || first.GetId() != c.Log {
		return "", errors.New("it is of another log"), nil
	}
	lost := "the log holds another commit there"
	if at.Sequence == 0 {
		lost = "the log ends before it"
	}
	return "", nil, damaged(c.Subject, c.Sequence, "commit %d was on disk when the last snapshot was taken, and %s", c.Number, lost)
}

// firstAfter reads one record; its sequence is 0 if there is none.
func firstAfter(ctx context.Context, log Log, s Subject, after uint64) (first Record, err error) {
	err = log.Read(ctx, s, after, func(r Record) error {
		first = r
		return errStop
	})
	if errors.Is(err, errStop) {
		err = nil
	}
	return first, err
}
