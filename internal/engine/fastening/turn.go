package fastening

import (
	"fmt"
	"time"
)

// Turn is the next thing to do at a joint.
type Turn struct {
	Fastener, Stage, Round int
	Left                   int // fasteners still to do in this round
	Say                    string
}

// Next gives the turn that is due; false when nothing is left to turn.
func (t *Track) Next() (Turn, bool) {
	at := t.current()
	if at == len(t.passes) {
		return Turn{}, false
	}
	p := t.passes[at]
	due := t.due()
	s := t.joint.Stages[p.stage]
	turn := Turn{Fastener: due[0], Stage: p.stage + 1, Round: t.roundAt(at, p.stage+1), Left: len(due)}
	text := s.say()
	switch {
	case p.settle && s.Kind == Torque:
		text = "again to " + text + ", it must not move before the click"
	case p.release:
		text = "release, then " + text
	}
	turn.Say = fmt.Sprintf("bolt %d: %s, stage %d of %d", turn.Fastener, text, turn.Stage, len(t.joint.Stages))
	if s.Passes > 1 || p.settle {
		turn.Say += fmt.Sprintf(", %s round", ordinal(turn.Round))
	}
	if ready := t.readyAt(); p.wait > 0 && !ready.IsZero() {
		turn.Say += ", not before " + clock(ready)
	}
	return turn, true
}

// Left says in words what the joint still needs; empty when it is proved.
func (t *Track) Left(now time.Time) string {
	at := t.current()
	switch {
	case at == len(t.passes) && t.Proved(now):
		return ""
	case at == len(t.passes):
		return "wait until " + clock(t.readyAt())
	}
	p := t.passes[at]
	text := fmt.Sprintf("stage %d", p.stage+1)
	if t.joint.Stages[p.stage].Passes > 1 || p.settle {
		text += fmt.Sprintf(", %s round", ordinal(t.roundAt(at, p.stage+1)))
	}
	text += ": " + bolts(sorted(t.due()))
	if stages := t.stagesAfter(p.stage); stages > 0 {
		text += fmt.Sprintf("; then %d more", stages)
		if stages == 1 {
			return text + " stage"
		}
		return text + " stages"
	}
	return text
}

// stagesAfter counts the stages in force that come after one.
func (t *Track) stagesAfter(stage int) int {
	seen := map[int]bool{}
	for _, p := range t.passes {
		if p.stage > stage {
			seen[p.stage] = true
		}
	}
	return len(seen)
}

// Untouched tells whether a fastener's next reading that counts is its first in
// this tightening, or its first after it was loosened to begin anew.
func (t *Track) Untouched(fastener int) bool {
	return fastener >= 1 && fastener <= len(t.next) && t.next[fastener-1] == t.passFrom(0, fastener)
}
