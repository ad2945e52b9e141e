package readmodel

import (
	"context"
	"slices"
	"sync"

	"ramprow/internal/platform/sitelog"
)

// maxTouched bounds what is remembered while Redis is away. Beyond it all rows
// are written anew.
const maxTouched = 20_000

// site is one site's fold and what is known of its rows in Redis.
type site[S any] struct {
	subject    sitelog.Subject
	keys       keyspace
	projection Projection[S]
	records    sitelog.Log
	wake       chan struct{} // holds one token: the writer has to look at Redis
	hurry      chan struct{} // holds one token: and at once, because somebody waits

	mu      sync.RWMutex
	state   S
	chain   sitelog.Chain // up to the last commit folded
	log     string        // id of the first commit
	commit  string        // id of the last one
	target  uint64        // newest sequence when following began; before it, the state is not served
	failure error         // why the fold or the writing stands still
	changed chan struct{}

	// touched covers every row that changed after since, with the sequence of
	// its last change. It lives as long as the rows might still have to be
	// written: a Redis that fell back a little is brought up from it.
	touched  map[Key]uint64
	recent   []touch // touched in the order of the log; older places of a key may stand there, too
	since    uint64
	applied  uint64 // the position in Redis as last seen
	serving  bool   // Redis answered at the last look and its rows can be relied on
	filling  bool   // all rows are being written anew
	found    position
	verified bool // the commit that Redis spoke of at start was met in the log
	watchers map[*watcher]struct{}
}

func newSite[S any](p Projection[S], log sitelog.Log, name string) *site[S] {
	return &site[S]{
		subject:    sitelog.Subject{Service: p.Machine.Service, Site: name},
		keys:       newKeyspace(p.Machine.Service, name, p.Version),
		projection: p,
		records:    log,
		wake:       make(chan struct{}, 1),
		hurry:      make(chan struct{}, 1),
		state:      p.Machine.New(name),
		touched:    map[Key]uint64{},
		watchers:   map[*watcher]struct{}{},
	}
}

// touch is a row that a commit changed.
type touch struct {
	key      Key
	sequence uint64
}

// touch notes that a commit changed a row. mu is held.
func (s *site[S]) touch(key Key, sequence uint64) {
	if s.touched[key] == sequence {
		return
	}
	s.touched[key] = sequence
	if len(s.recent) > 2*len(s.touched)+stepRows {
		s.recent = slices.DeleteFunc(s.recent, s.outdated)
	}
	s.recent = append(s.recent, touch{key, sequence})
}

// outdated tells that the row was changed again later, or is remembered no more. mu is held.
func (s *site[S]) outdated(t touch) bool { return s.touched[t.key] != t.sequence }

// forget forgets all that was touched. mu is held.
func (s *site[S]) forget() {
	clear(s.touched)
	s.recent = nil
}

// begin starts the fold of another log than before: from the start, or from the
// state of a snapshot. The rows that were touched before a snapshot are not
// known, so a Redis that stands further back than it gets all rows anew.
func (s *site[S]) begin(log string, target uint64, found position, restored *sitelog.Restored[S]) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.offerAll()
	s.state = s.projection.Machine.New(s.subject.Site)
	s.chain = sitelog.Chain{Subject: s.subject}
	s.log, s.commit, s.target = log, "", target
	s.forget()
	s.since, s.applied = 0, 0
	s.found, s.verified = found, !found.vouches(log)
	// A position beyond the end of the log speaks of commits that are lost.
	s.serving = found.vouches(log) && found.Sequence <= target
	if restored != nil {
		s.state, s.chain, s.commit = restored.State, restored.Chain, restored.CommitID
		s.since = s.chain.Sequence
		s.offerAll()
		s.meet()
	}
}

// goOn prepares for following the log up to target and beyond; before the fold
// is there, its state is not shown. It gives the sequence to go on from.
func (s *site[S]) goOn(target uint64) uint64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.target = target
	s.failure = nil
	s.signal()
	return s.chain.Sequence
}

func (s *site[S]) knows(log string) bool {
	s.mu.RLock()
	defer s.mu.RUnlock()
	return s.log == log
}

// meet notes that the fold stands at the commit that Redis spoke of. mu is held.
func (s *site[S]) meet() {
	if s.found.Sequence == s.chain.Sequence && s.found.Commit == s.commit {
		s.verified = true
		s.applied = s.chain.Sequence
	}
}

// fold applies one record, if it continues the chain. Either all of its events are in the state, or none.
func (s *site[S]) fold(r sitelog.Record) error {
	chain := s.chain // Only fold and begin change it, and both run in one goroutine.
	commit, err := chain.Next(r)
	if err != nil {
		return err
	}
	events, err := sitelog.CommitEvents(commit, r.Sequence)
	if err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, e := range events {
		s.projection.Machine.Evolve(s.state, e)
		for _, key := range s.projection.Touched(s.state, e) {
			s.touch(key, r.Sequence)
			for w := range s.watchers {
				w.offer(key)
			}
		}
	}
	s.chain, s.commit = chain, commit.GetId()
	s.meet()
	s.trim()
	s.signal()
	return nil
}

// trim keeps touched bounded. What Redis has already goes first; if that is not
// enough, all is forgotten, and a position before since means: write all rows.
func (s *site[S]) trim() {
	if s.filling || len(s.touched) <= maxTouched {
		return
	}
	for key, sequence := range s.touched {
		if sequence <= s.applied {
			delete(s.touched, key)
		}
	}
	s.since = max(s.since, s.applied)
	if len(s.touched) > maxTouched/2 {
		s.forget()
		s.since = s.chain.Sequence
	}
}

// touchedAfter gives the rows that changed after a sequence, the latest first. mu is held.
func (s *site[S]) touchedAfter(sequence uint64) []Key {
	var keys []Key
	for i := len(s.recent) - 1; i >= 0 && s.recent[i].sequence > sequence; i-- {
		if t := s.recent[i]; !s.outdated(t) {
			keys = append(keys, t.key)
		}
	}
	return keys
}

// signal tells everybody who waits for a change, and the writer once the fold
// is as new as the log: rows on the way there would only be written again.
func (s *site[S]) signal() {
	s.tell()
	if s.chain.Sequence >= s.target {
		s.nudge()
	}
}

// tell wakes everybody who waits for a change. mu is held.
func (s *site[S]) tell() {
	if s.changed != nil {
		close(s.changed)
		s.changed = nil
	}
}

// nudge makes the writer look at Redis.
func (s *site[S]) nudge() {
	select {
	case s.wake <- struct{}{}:
	default:
	}
}

// press makes the writer not wait for more to write: somebody waits for it.
func (s *site[S]) press() {
	select {
	case s.hurry <- struct{}{}:
	default:
	}
}

// change gives a channel that is closed at the next change. mu is held.
func (s *site[S]) change() <-chan struct{} {
	if s.changed == nil {
		s.changed = make(chan struct{})
	}
	return s.changed
}

// await waits until done, which runs under the lock, is true.
func (s *site[S]) await(ctx context.Context, done func() bool) error {
	for {
		s.mu.Lock()
		if done() {
			s.mu.Unlock()
			return nil
		}
		changed := s.change()
		s.mu.Unlock()
		select {
		case <-changed:
		case <-ctx.Done():
			return s.behind(ctx.Err())
		}
	}
}

// folded says whether the state holds a revision and is no older than the log
// was when following began. mu is held.
func (s *site[S]) folded(revision uint64) bool {
	return s.log != "" && s.chain.Sequence >= s.target && s.chain.Sequence >= revision
}

func (s *site[S]) isFolded() bool {
	s.mu.RLock()
	defer s.mu.RUnlock()
	return s.folded(0)
}
