package sitelog

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"

	"google.golang.org/protobuf/proto"

	logv1 "ramprow/proto/ramprow/log/v1"
)

// Chain checks that the records of one subject follow one another: numbered
// without a gap, each holding the SHA-256 of the payload before it. The zero
// value with a Subject stands before the first record. It is a plain value:
// copy it to remember a place.
type Chain struct {
	Subject  Subject
	Log      string // id of the first commit, which tells one log from another
	Number   uint64 // commits so far
	Sequence uint64 // of the last one
	Hash     []byte // of its payload; nil before the first
}

// Next checks the record that comes after, and gives its commit. The error is
// a *DamagedError, and the chain then stays where it was.
func (c *Chain) Next(r Record) (*logv1.Commit, error) {
	commit, err := DecodeCommit(r.Data)
	if err != nil {
		return nil, damaged(c.Subject, r.Sequence, "%v", err)
	}
	switch {
	case r.Sequence <= c.Sequence:
		return nil, damaged(c.Subject, r.Sequence, "it comes after sequence %d", c.Sequence)
	case commit.GetService() != c.Subject.Service || commit.GetSite() != c.Subject.Site:
		return nil, damaged(c.Subject, r.Sequence, "it belongs to %s at site %s", commit.GetService(), commit.GetSite())
	case commit.GetNumber() != c.Number+1:
		return nil, damaged(c.Subject, r.Sequence, "it is commit %d where %d is due", commit.GetNumber(), c.Number+1)
	case !bytes.Equal(commit.GetPreviousHash(), c.Hash):
		return nil, damaged(c.Subject, r.Sequence, "commit %d does not hold the hash of the one before it", commit.GetNumber())
	}
	c.extend(r.Sequence, commit.GetId(), r.Data)
	return commit, nil
}

// extend moves past a payload that is known to fit.
func (c *Chain) extend(sequence uint64, id string, payload []byte) {
	if c.Number == 0 {
		c.Log = id
	}
	hash := sha256.Sum256(payload)
	c.Number, c.Sequence, c.Hash = c.Number+1, sequence, hash[:]
}

// DecodeCommit reads a payload and checks what must hold for any commit by itself.
func DecodeCommit(payload []byte) (*logv1.Commit, error) {
	commit := &logv1.Commit{}
	if err := proto.Unmarshal(payload, commit); err != nil {
		return nil, fmt.Errorf("not a commit: %w", err)
	}
	first := commit.GetNumber() == 1
	switch {
	case commit.GetId() == "":
		return nil, errors.New("not a commit: it has no id")
	case commit.GetNumber() == 0:
		return nil, errors.New("not a commit: it has no number")
	case commit.GetTime().CheckValid() != nil:
		return nil, errors.New("not a commit: its time is missing or out of range")
	case len(commit.GetEntries()) == 0:
		return nil, errors.New("not a commit: it has no entries")
	case first && len(commit.GetPreviousHash()) != 0, !first && len(commit.GetPreviousHash()) != sha256.Size:
		return nil, errors.New("not a commit: its previous hash has the wrong length")
	}
	return commit, nil
}

// EventsOf gives the domain events of one record in order. The error tells
// which event this build cannot read.
func EventsOf(r Record) ([]Event, error) {
	commit, err := DecodeCommit(r.Data)
	if err != nil {
		return nil, err
	}
	return CommitEvents(commit, r.Sequence)
}

// CommitEvents gives the domain events of a decoded commit in order.
func CommitEvents(commit *logv1.Commit, sequence uint64) ([]Event, error) {
	var events []Event
	for i, entry := range commit.GetEntries() {
		event := frame(commit, sequence, entry)
		for j, packed := range entry.GetEvents() {
			message, err := packed.UnmarshalNew()
			if err != nil {
				return nil, fmt.Errorf("event %d of entry %d (%s) cannot be read: %w", j, i, packed.GetTypeUrl(), err)
			}
			event.Message = message
			events = append(events, event)
		}
	}
	return events, nil
}

// frame is what all events of one entry have in common.
func frame(commit *logv1.Commit, sequence uint64, entry *logv1.Entry) Event {
	return Event{
		Site:     commit.GetSite(),
		Number:   commit.GetNumber(),
		Sequence: sequence,
		Time:     commit.GetTime().AsTime(),
		Actor:    actorFrom(entry.GetActor()),
		TraceID:  traceIDOf(entry.GetTraceparent()),
	}
}
