package sitelog

import (
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/anypb"

	logv1 "ramprow/proto/ramprow/log/v1"
)

// ParkedEvent is a foreign event that could not be handled and waits for a person.
type ParkedEvent struct {
	ID       string // as in job.17.0.2: service, sequence, entry, event
	Service  string
	Sequence uint64
	CommitID string
	Entry    uint32
	Index    uint32
	Event    *anypb.Any
	Error    string
	Attempts uint32
	ParkedAt time.Time // of the last attempt
}

// ledger is what a site's log says beside the service's own state: how far
// other logs have been read, what is parked, which requests were answered.
type ledger struct {
	positions map[string]uint64
	parked    map[string]ParkedEvent
	requests  *requests
}

func newLedger() *ledger {
	return &ledger{
		positions: map[string]uint64{},
		parked:    map[string]ParkedEvent{},
		requests:  newRequests(),
	}
}

// note takes one entry, be it read from the log or just decided. Requests are
// not noted here: they count once their commit is on disk.
func (l *ledger) note(entry *logv1.Entry, at time.Time) {
	if p := entry.GetProgress(); p != nil {
		l.advance(p.GetService(), p.GetSequence())
	}
	cause := entry.GetReaction()
	if cause == nil {
		return
	}
	// A release refers to an old event, so a position never goes back.
	l.advance(cause.GetService(), cause.GetSequence())
	parking := cause.GetParking()
	switch parking.GetOutcome() {
	case logv1.Parking_OUTCOME_PARKED:
		l.parked[parking.GetParkedId()] = ParkedEvent{
			ID:       parking.GetParkedId(),
			Service:  cause.GetService(),
			Sequence: cause.GetSequence(),
			CommitID: cause.GetCommitId(),
			Entry:    cause.GetEntryIndex(),
			Index:    cause.GetEventIndex(),
			Event:    parking.GetEvent(),
			Error:    parking.GetError(),
			Attempts: parking.GetAttempts(),
			ParkedAt: at,
		}
	case logv1.Parking_OUTCOME_RELEASED, logv1.Parking_OUTCOME_DROPPED:
		delete(l.parked, parking.GetParkedId())
	case logv1.Parking_OUTCOME_UNSPECIFIED:
	}
}

func (l *ledger) advance(service string, sequence uint64) {
	l.positions[service] = max(l.positions[service], sequence)
}

// draft is one decision before it is part of a commit. A nil entry changes nothing.
type draft struct {
	entry    *logv1.Entry
	messages []proto.Message // the entry's events, unpacked, for Evolve
	response proto.Message
}

// fill packs a decision's events into its entry.
func (d *draft) fill(messages []proto.Message) error {
	d.messages = messages
	d.entry.Events = make([]*anypb.Any, len(messages))
	for i, m := range messages {
		packed, err := anypb.New(m)
		if err != nil {
			return err
		}
		d.entry.Events[i] = packed
	}
	return nil
}
