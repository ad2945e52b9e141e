package sitelog

import (
	"context"
)

// Verified is what a walk over a whole log has found.
type Verified struct {
	Chain  Chain // to the last commit that fits
	Events uint64
}

// verifyStep is how many commits pass between two reports of progress.
const verifyStep = 1000

// Verify walks a log from its first commit to its last: numbered without a gap,
// each holding the hash of the one before it, every event readable by this
// build. The error is a *DamagedError that names the first record that does not
// fit, or the log's if it cannot be read; Verified then tells how far it was
// good. An empty log is whole.
//
// A chain proves everything but its own end: that the last commit is unchanged,
// and that none came after it. A snapshot does; see Snapshots.Check.
// progress, if not nil, is told commits walked and all.
func Verify(ctx context.Context, log Log, s Subject, progress func(done, total uint64)) (Verified, error) {
	v := Verified{Chain: Chain{Subject: s}}
	last, err := log.Last(ctx, s)
	if err != nil || last.Sequence == 0 {
		return v, err
	}
	var total uint64
	if newest, err := DecodeCommit(last.Data); err == nil {
		total = newest.GetNumber()
	}
	err = log.Read(ctx, s, 0, func(r Record) error {
		next := v.Chain
		commit, err := next.Next(r)
		if err != nil {
			return err
		}
		events, err := CommitEvents(commit, r.Sequence)
		if err != nil {
			return damaged(s, r.Sequence, "%v", err)
		}
		v.Chain, v.Events = next, v.Events+uint64(len(events))
		if progress != nil && (next.Number%verifyStep == 0 || next.Number == total) {
			progress(next.Number, total)
		}
		return nil
	})
	if err == nil && v.Chain.Sequence < last.Sequence {
		err = damaged(s, last.Sequence, "it is there, but reading ended at sequence %d", v.Chain.Sequence)
	}
	return v, err
}

// Check compares the newest snapshot of a site, if there is one, with the log.
// The error is a *DamagedError if the log has lost or changed what was on disk.
func (s Snapshots[S]) Check(ctx context.Context, site string) error {
	if s.Store == nil {
		return nil
	}
	subject := Subject{Service: s.Machine.Service, Site: site}
	packed, err := s.Store.Get(ctx, subject, s.Machine.Schema)
	if err != nil || packed == nil {
		return err
	}
	f, doubt := unpackImage(packed, subject, s.Machine.Schema)
	if doubt != nil {
		return nil //nolint:nilerr // what the snapshot lacks is not the log's fault
	}
	_, _, err = f.chain().commitIn(ctx, s.Log)
	return err
}
