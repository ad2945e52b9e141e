package fastening

import (
	"fmt"
	"math"
	"slices"
	"time"
)

// ReadingError says why a reading is malformed: it is refused, not judged.
type ReadingError struct{ Field, Problem string }

// Error implements error.
func (e *ReadingError) Error() string { return e.Field + " " + e.Problem }

// Judgement is the answer to one reading.
type Judgement struct {
	Stage, Round int // from 1; what the reading was judged as
	Verdict      Verdict
	Counts       bool
	// Restart: the fastener cannot be put right in place and begins anew.
	Restart bool
	// Risk is the probability that the value lies outside the window although it
	// was accepted, or might be; 1 for a tool that proves nothing.
	Risk float64
	// Reason says in words what the verdict rests on and what to do next.
	Reason string
}

// Judge answers a reading without changing the track. The error is a
// *ReadingError if the reading is malformed.
func (t *Track) Judge(r Reading, tool Tool) (Judgement, error) {
	if err := t.malformed(r); err != nil {
		return Judgement{}, err
	}
	at := t.current()
	if at == len(t.passes) {
		return t.afterwards(r), nil
	}
	stage := r.Stage
	if stage == 0 {
		stage = t.passes[at].stage + 1
	}
	s := t.joint.Stages[stage-1]
	j := Judgement{Stage: stage, Round: t.roundAt(at, stage)}
	able := first(tool.forStage(s, r.At), tool.unfit(s, r.TorqueNM))
	m := measure(s, r, tool, able == "")
	j.Verdict, j.Risk = m.verdict, m.risk
	obstacle := first(able, t.misplaced(r, stage), t.notYet(r), t.notReleased(r))
	j.Counts = obstacle == "" && t.joint.Rule.accepts(m.verdict)
	r.Counts, r.Verdict = j.Counts, j.Verdict
	j.Restart = stage == t.passes[at].stage+1 && t.restarts(r)
	j.Reason = first(obstacle, t.explain(s, r, m, j))
	if j.Restart {
		j.Reason += fmt.Sprintf("; loosen bolt %d fully and go through its stages again from the first", r.Fastener)
	}
	return j, nil
}

// afterwards answers a reading of a joint that is done.
func (t *Track) afterwards(r Reading) Judgement {
	j := Judgement{
		Stage: max(r.Stage, 1), Round: 1, Verdict: InsideNotProved, Risk: 1,
		Reason: "every stage of the joint is done; to tighten it again, reopen it first",
	}
	if r.Moved {
		j.Reason = fmt.Sprintf("bolt %d moved although every stage of the joint is done; reopen the joint and tighten it again", r.Fastener)
	}
	return j
}

func (rule Rule) accepts(v Verdict) bool {
	return v == Conforms || rule == Simple && v == InsideNotProved
}

func (t *Track) malformed(r Reading) error {
	wrong := func(field, format string, args ...any) error {
		return &ReadingError{Field: field, Problem: fmt.Sprintf(format, args...)}
	}
	switch {
	case r.Fastener < 1 || r.Fastener > t.joint.Fasteners:
		return wrong("fastener", "is %d, but the joint has bolts 1 to %d", r.Fastener, t.joint.Fasteners)
	case r.Stage < 0 || r.Stage > len(t.joint.Stages):
		return wrong("stage", "is %d, but the joint has stages 1 to %d", r.Stage, len(t.joint.Stages))
	case !isQuantity(r.TorqueNM):
		return wrong("torque_nm", "must be a finite number from 0 on, in newton metres")
	case !isQuantity(r.AngleDeg):
		return wrong("angle_deg", "must be a finite number from 0 on, in degrees")
	case r.Stage > 0 && t.joint.Stages[r.Stage-1].Kind == Wait:
		return wrong("stage", "is %d, which only waits; nothing is read there", r.Stage)
	}
	return nil
}

func isQuantity(v float64) bool { return v >= 0 && !math.IsInf(v, 1) && !math.IsNaN(v) }

// forStage is distrust, except that anything may release a fastener.
func (t Tool) forStage(s Stage, at time.Time) string {
	if s.Kind == BackOff {
		return ""
	}
	return t.distrust(at)
}

// misplaced says what should have come instead.
func (t *Track) misplaced(r Reading, stage int) string {
	at := t.current()
	p := t.passes[at]
	due := t.due()
	switch {
	case stage != p.stage+1:
		return fmt.Sprintf("stage %d is due, not stage %d; next is bolt %d", p.stage+1, stage, due[0])
	case !slices.Contains(p.order, r.Fastener):
		return fmt.Sprintf("bolt %d is not part of stage %d; next is bolt %d", r.Fastener, stage, due[0])
	case !t.inTurn(r.Fastener):
		return fmt.Sprintf("out of order: bolt %d is next", due[0])
	}
	return ""
}

func (t *Track) notYet(r Reading) string {
	if ready := t.readyAt(); t.passes[t.current()].wait > 0 && r.At.Before(ready) {
		return "too early: wait until " + clock(ready)
	}
	return ""
}

func (t *Track) notReleased(r Reading) string {
	if t.passes[t.current()].release && !r.Moved {
		return fmt.Sprintf("bolt %d still holds the higher torque of the stage before; release it, then tighten it until the click", r.Fastener)
	}
	return ""
}

// roundAt is the round that a reading belongs to; 1 for a stage that is not due.
func (t *Track) roundAt(at, stage int) int {
	p := t.passes[at]
	switch {
	case p.stage+1 != stage:
		return 1
	case p.settle:
		return t.settling.number()
	default:
		return p.number
	}
}

func first(reasons ...string) string {
	for _, reason := range reasons {
		if reason != "" {
			return reason
		}
	}
	return ""
}
