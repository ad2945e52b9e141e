// Package memory is a Log in memory, for tests and simulations. It keeps to the
// same rules as the one over JetStream, and a hook can make it misbehave in
// every way that a real one can: refuse, fail, lose a message, lose an answer,
// be slow, or hand out a record that was tampered with.
package memory

import (
	"context"
	"errors"
	"maps"
	"slices"
	"sync"

	"ramprow/internal/platform/sitelog"
)

// Operation names what a hook is asked about.
type Operation int

// The operations of a Log.
const (
	Append Operation = iota
	Last
	Read
	Follow
	Sites
)

// Effect is what a hook makes of an operation. The zero value lets it pass.
type Effect struct {
	Err error
	// Applied lets an Append happen although its caller gets Err.
	Applied bool
}

// ErrAway is what a log that cannot be reached answers.
var ErrAway = errors.New("memory log: not reachable")

// Conflict refuses as if somebody else had been first.
func Conflict() Effect { return Effect{Err: sitelog.ErrConflict} }

// LostAnswer appends, and does not say so.
func LostAnswer() Effect { return Effect{Err: sitelog.ErrUnknownOutcome, Applied: true} }

// LostMessage does not append, and does not say so.
func LostMessage() Effect { return Effect{Err: sitelog.ErrUnknownOutcome} }

// Away does nothing.
func Away() Effect { return Effect{Err: ErrAway} }

// Hook is asked before every operation. It may block, which is a delay.
type Hook func(ctx context.Context, op Operation, s sitelog.Subject) Effect

// Log is a set of streams, one per service. The zero value is not usable: see New.
type Log struct {
	mu      sync.Mutex
	streams map[string]*stream
	changed chan struct{} // closed and replaced whenever a record is added
	hook    Hook
}

type stream struct {
	sequence uint64
	records  map[string][]sitelog.Record // by site
	sites    []string                    // in the order of their first record
}

// New gives an empty log.
func New() *Log {
	return &Log{streams: map[string]*stream{}, changed: make(chan struct{})}
}

// SetHook installs the hook; nil lets everything pass.
func (l *Log) SetHook(h Hook) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.hook = h
}

// Tamper changes the record with a sequence, and tells whether there is one.
func (l *Log) Tamper(s sitelog.Subject, sequence uint64, change func(*sitelog.Record)) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	// A copy, because readers hold parts of the present slice.
	records := slices.Clone(l.stream(s.Service).records[s.Site])
	i := slices.IndexFunc(records, func(r sitelog.Record) bool { return r.Sequence == sequence })
	if i < 0 {
		return false
	}
	changed := clone(records[i])
	change(&changed)
	records[i] = changed
	l.stream(s.Service).records[s.Site] = records
	return true
}

// Remove takes a record out, as a damaged block would.
func (l *Log) Remove(s sitelog.Subject, sequence uint64) {
	l.mu.Lock()
	defer l.mu.Unlock()
	st := l.stream(s.Service)
	st.records[s.Site] = slices.DeleteFunc(slices.Clone(st.records[s.Site]),
		func(r sitelog.Record) bool { return r.Sequence == sequence })
}

// Append implements sitelog.Log.
func (l *Log) Append(ctx context.Context, s sitelog.Subject, expected uint64, m sitelog.Message) (uint64, error) {
	effect := l.ask(ctx, Append, s)
	if effect.Err != nil && !effect.Applied {
		return 0, effect.Err
	}
	if err := ctx.Err(); err != nil {
		return 0, err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	st := l.stream(s.Service)
	records := st.records[s.Site]
	if last(records).Sequence != expected {
		return 0, sitelog.ErrConflict
	}
	if len(records) == 0 {
		st.sites = append(st.sites, s.Site)
	}
	st.sequence++
	st.records[s.Site] = append(records, clone(sitelog.Record{Message: m, Subject: s, Sequence: st.sequence}))
	close(l.changed)
	l.changed = make(chan struct{})
	if effect.Err != nil {
		return 0, effect.Err
	}
	return st.sequence, nil
}

// Last implements sitelog.Log.
func (l *Log) Last(ctx context.Context, s sitelog.Subject) (sitelog.Record, error) {
	if err := l.pass(ctx, Last, s); err != nil {
		return sitelog.Record{}, err
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	return clone(last(l.stream(s.Service).records[s.Site])), nil
}

// Read implements sitelog.Log.
func (l *Log) Read(ctx context.Context, s sitelog.Subject, after uint64, fn func(sitelog.Record) error) error {
	if err := l.pass(ctx, Read, s); err != nil {
		return err
	}
	records, _ := l.after(s, after)
	for _, r := range records {
		if err := fn(clone(r)); err != nil {
			return err
		}
	}
	return nil
}

// Follow implements sitelog.Log.
func (l *Log) Follow(ctx context.Context, s sitelog.Subject, after uint64, fn func(sitelog.Record) error) error {
	for {
		if err := l.pass(ctx, Follow, s); err != nil {
			return err
		}
		records, changed := l.after(s, after)
		for _, r := range records {
			if err := fn(clone(r)); err != nil {
				return err
			}
			after = r.Sequence
		}
		if err := wait(ctx, changed); err != nil {
			return err
		}
	}
}

// Sites implements sitelog.Log.
func (l *Log) Sites(ctx context.Context, service string, fn func(string) error) error {
	given := 0
	for {
		if err := l.pass(ctx, Sites, sitelog.Subject{Service: service}); err != nil {
			return err
		}
		l.mu.Lock()
		sites := slices.Clone(l.stream(service).sites[given:])
		changed := l.changed
		l.mu.Unlock()
		for _, site := range sites {
			if err := fn(site); err != nil {
				return err
			}
		}
		given += len(sites)
		if err := wait(ctx, changed); err != nil {
			return err
		}
	}
}

// after gives the records after a sequence, and what to wait on for more.
func (l *Log) after(s sitelog.Subject, sequence uint64) ([]sitelog.Record, <-chan struct{}) {
	l.mu.Lock()
	defer l.mu.Unlock()
	records := l.stream(s.Service).records[s.Site]
	i, _ := slices.BinarySearchFunc(records, sequence+1, func(r sitelog.Record, q uint64) int {
		return int(r.Sequence) - int(q) //nolint:gosec // sequences in memory are small
	})
	return records[i:len(records):len(records)], l.changed
}

func (l *Log) stream(service string) *stream {
	st, ok := l.streams[service]
	if !ok {
		st = &stream{records: map[string][]sitelog.Record{}}
		l.streams[service] = st
	}
	return st
}

func (l *Log) ask(ctx context.Context, op Operation, s sitelog.Subject) Effect {
	l.mu.Lock()
	hook := l.hook
	l.mu.Unlock()
	if hook == nil {
		return Effect{}
	}
	return hook(ctx, op, s)
}

func (l *Log) pass(ctx context.Context, op Operation, s sitelog.Subject) error {
	if effect := l.ask(ctx, op, s); effect.Err != nil {
		return effect.Err
	}
	return ctx.Err()
}

func last(records []sitelog.Record) sitelog.Record {
	if len(records) == 0 {
		return sitelog.Record{}
	}
	return records[len(records)-1]
}

// clone keeps callers from changing what is in the log through a shared slice.
func clone(r sitelog.Record) sitelog.Record {
	r.Data = slices.Clone(r.Data)
	r.Header = maps.Clone(r.Header)
	return r
}

func wait(ctx context.Context, changed <-chan struct{}) error {
	select {
	case <-changed:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
