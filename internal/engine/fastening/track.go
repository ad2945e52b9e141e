package fastening

import (
	"slices"
	"time"
)

// Reading is what was done to one fastener.
type Reading struct {
	Fastener int
	// Stage from 1; 0: the one that is due.
	Stage    int
	TorqueNM float64
	AngleDeg float64
	Moved    bool // it turned before the click
	At       time.Time
	// Verdict and Counts are what Judge answered.
	Verdict Verdict
	Counts  bool
}

// Track follows one joint from its first reading to its proof.
type Track struct {
	joint  Joint
	passes []pass
	rest   time.Duration // to wait after the last pass
	// next is the pass that is due, by fastener.
	next []int
	// done is how many readings counted.
	done int
	// latest is the time of the newest reading that counted, since the same when
	// the present pass became due.
	latest, since time.Time
	settling      settling
}

// Begin starts a joint. The error is a *SpecError: the joint cannot be proved
// as it is written.
func Begin(j Joint) (*Track, error) {
	if err := j.validate(); err != nil {
		return nil, err
	}
	j.Stages = slices.Clone(j.Stages)
	for i, s := range j.Stages {
		j.Stages[i] = s.bounded()
	}
	t := &Track{joint: j, next: make([]int, j.Fasteners)}
	t.passes, t.rest = j.plan()
	for f := range t.next {
		t.next[f] = t.passFrom(0, f+1)
	}
	t.enter()
	return t, nil
}

// Clone gives a track that goes on by itself.
func (t *Track) Clone() *Track {
	c := *t
	c.next = slices.Clone(t.next)
	c.settling = t.settling.clone()
	return &c
}

// Joint is the specification that the track follows, its open tolerances filled in.
func (t *Track) Joint() Joint { return t.joint }

// passFrom gives the first pass at or after one that concerns a fastener.
func (t *Track) passFrom(at, fastener int) int {
	for at < len(t.passes) && !slices.Contains(t.passes[at].order, fastener) {
		at++
	}
	return at
}

// current is the pass that is due; the number of passes when all are done.
func (t *Track) current() int { return slices.Min(t.next) }

// due gives the fasteners of the present pass that still need a reading, in order.
func (t *Track) due() []int {
	at := t.current()
	if at == len(t.passes) {
		return nil
	}
	if t.passes[at].settle {
		return t.settling.due()
	}
	return keep(t.passes[at].order, func(f int) bool { return t.next[f-1] == at })
}

// enter prepares the pass that has just become due.
func (t *Track) enter() {
	t.since = t.latest
	at := t.current()
	if at < len(t.passes) && t.passes[at].settle {
		p := t.passes[at]
		t.settling.begin(p, keep(p.order, func(f int) bool { return t.next[f-1] == at }), t.joint.Order)
	}
}

// Apply follows a judged reading. One that does not count, or claims to count
// where it is not due, changes nothing; except that a fastener which cannot be
// put right in place is sent back to its first stage.
func (t *Track) Apply(r Reading) {
	at := t.current()
	if at == len(t.passes) || r.Fastener < 1 || r.Fastener > t.joint.Fasteners || r.Stage != t.passes[at].stage+1 {
		return
	}
	switch {
	case t.restarts(r):
		t.next[r.Fastener-1] = t.passFrom(0, r.Fastener)
	case !r.Counts || !t.inTurn(r.Fastener):
		return
	default:
		t.count(at, r)
	}
	if t.current() != at {
		t.enter()
	}
}

// restarts tells whether a reading at the present stage did something to its
// fastener that only loosening undoes.
func (t *Track) restarts(r Reading) bool {
	at := t.current()
	return t.next[r.Fastener-1] == at && slices.Contains(t.passes[at].order, r.Fastener) &&
		t.joint.Stages[t.passes[at].stage].restarts(r)
}

func (t *Track) count(at int, r Reading) {
	t.done++
	if r.At.After(t.latest) {
		t.latest = r.At
	}
	p := t.passes[at]
	if !p.settle {
		t.settling.note(p, r.Moved)
		t.next[r.Fastener-1] = t.passFrom(at+1, r.Fastener)
		return
	}
	if t.settling.found(r.Fastener, r.Moved) {
		for _, f := range t.settling.group {
			t.next[f-1] = t.passFrom(at+1, f)
		}
	}
}

// inTurn tells whether a fastener may have its reading now. Within a stage the
// order is the joint's; in the rounds that follow any fastener may be tried.
func (t *Track) inTurn(fastener int) bool {
	at := t.current()
	if t.passes[at].settle {
		return slices.Contains(t.settling.group, fastener)
	}
	due := t.due()
	return len(due) > 0 && due[0] == fastener
}

// readyAt is when the present pass may begin, or the joint be proved.
func (t *Track) readyAt() time.Time {
	wait := t.rest
	if at := t.current(); at < len(t.passes) {
		wait = t.passes[at].wait
	}
	return t.since.Add(wait)
}

// Proved tells whether every fastener went through every stage and what has to
// be waited for is over.
func (t *Track) Proved(now time.Time) bool {
	return t.current() == len(t.passes) && !now.Before(t.readyAt())
}

// MovedByRound gives how many fasteners moved in each round of the joint's
// last stage that has rounds; nil if none has begun.
func (t *Track) MovedByRound() []int { return slices.Clone(t.settling.moved) }

// Rounds is how often that stage has been gone through.
func (t *Track) Rounds() int { return len(t.settling.moved) }
