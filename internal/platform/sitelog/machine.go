package sitelog

import (
	"context"
	"time"

	"google.golang.org/protobuf/proto"
)

// Machine is a service as a state machine over its site's log. S is the
// service's state, normally a pointer to a plain Go struct.
//
// New, Evolve, React, Due and Fire are pure: no clock, no randomness, no I/O.
// Evolve changes the state in place and never fails on a known event.
type Machine[S any] struct {
	// Service is the log's name and the first token of its subjects.
	Service string
	// New gives the state of a site whose log is empty.
	New func(site string) S
	// Evolve applies one event of the service's own log.
	Evolve func(state S, e Event)
	// Follows names the services whose logs (of the same site) cause reactions.
	Follows []string
	// React decides what one foreign event brings about here. No events and no
	// error: it is of no interest. An error parks the event. Nil when Follows is empty.
	React func(state S, f Foreign, in Input) ([]proto.Message, error)
	// Due gives the earliest time at which Fire has something to do. Nil: no timers.
	Due func(state S) (time.Time, bool)
	// Fire decides what is due at in.Now. It must leave Due later than in.Now
	// once its events are applied, or return an error.
	Fire func(state S, in Input) ([]proto.Message, error)
	// Snapshot takes what is needed of a state before it changes again, and gives
	// the function that encodes it, which runs in another goroutine. Nil: this
	// machine has no snapshots, and every start reads the whole log.
	Snapshot func(state S) (encode func() ([]byte, error))
	// Restore gives the state back. It may keep data.
	Restore func(site string, data []byte) (S, error)
	// Schema names what Snapshot writes. Another number makes all older snapshots
	// void: change it with the encoding, and with Evolve.
	Schema uint32
}

// Actor is who causes something.
type Actor struct {
	Person string
	Roles  []string
}

// Event is one event of the service's own log, as Evolve sees it.
type Event struct {
	Message proto.Message
	Site    string
	// Number counts the commits of the subject: the commit that holds the event.
	Number uint64
	// Sequence is the stream sequence of that commit. It is 0 while the commit
	// is not yet on disk, so state must not depend on it.
	Sequence uint64
	Time     time.Time
	Actor    Actor
	// TraceID is 32 hexadecimal digits, or empty.
	TraceID string
}

// Foreign is one event of another service's log.
type Foreign struct {
	Service  string
	Message  proto.Message
	Site     string
	Sequence uint64
	CommitID string
	Time     time.Time
	Actor    Actor
}

// Input is everything that a decision may use beside the state.
type Input struct {
	Site  string
	Now   time.Time
	Actor Actor
	// NewID gives a fresh unique identifier.
	NewID func() string
}

// Decision is what a command brings about. No events: nothing changes, and the
// answer is given once everything it was decided on is on disk.
type Decision struct {
	Events   []proto.Message
	Response proto.Message
}

// Command is one mutating call. The same RequestID with the same content gets
// the first answer again; with another content it is refused.
type Command[S any] struct {
	Method    string
	RequestID string
	Request   proto.Message
	Actor     Actor
	// Decide is pure and may run several times. Its error is the caller's
	// refusal, returned as it is; nothing is written then.
	Decide func(state S, in Input) (Decision, error)
}

// Outcome is the answer to a command that is on disk.
type Outcome struct {
	Response    proto.Message
	Revision    uint64 // stream sequence of the commit, or of the state it was answered from
	CommittedAt time.Time
	Repeated    bool // the request_id had been seen before
	// TraceID is of the call that was decided: of the first one, if this is a
	// repetition. Empty if nobody traced it.
	TraceID string
}

// Subject is one site's log of one service.
type Subject struct {
	Service string
	Site    string
}

// Message is what is appended: payload and headers (CloudEvents, trace context).
type Message struct {
	Header map[string]string
	Data   []byte
}

// Record is a message with its place in the log.
type Record struct {
	Message
	Subject  Subject
	Sequence uint64 // of the stream, so it grows along a subject but has gaps
}

// Log is the append-only store beneath. Two implementations, jetstream and
// memory, pass one conformance suite in sitelogtest.
type Log interface {
	// Append adds one message if the subject's last sequence is still expected
	// (0: the subject is empty). ErrConflict: somebody else was first.
	// ErrUnknownOutcome: it may or may not be there; read the tail to know.
	Append(ctx context.Context, s Subject, expected uint64, m Message) (sequence uint64, err error)
	// Last gives the newest record, never a stale one; Sequence 0 if there is none.
	Last(ctx context.Context, s Subject) (Record, error)
	// Read gives every record after a sequence up to the newest at the time of the call.
	Read(ctx context.Context, s Subject, after uint64, fn func(Record) error) error
	// Follow gives every record after a sequence, and goes on with new ones
	// until ctx ends or fn fails.
	Follow(ctx context.Context, s Subject, after uint64, fn func(Record) error) error
	// Sites gives every site that has a log of the service, and goes on with
	// new ones until ctx ends or fn fails. A site is given once.
	Sites(ctx context.Context, service string, fn func(site string) error) error
}
