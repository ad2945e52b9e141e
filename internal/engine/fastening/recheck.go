package fastening

import (
	"fmt"
	"time"
)

// Recheck is a tight joint that is tried again after running or distance, as
// wheel fixings are: the wrench goes on in the tightening direction, nothing is
// slackened first, and no fastener may move before the click.
type Recheck struct {
	Fasteners int
	Torque    Window // N·m; without a tolerance it gets the usual one
	Rule      Rule
	// NotBefore is when running can have been long enough; zero: any time.
	NotBefore time.Time
}

// Rechecked is the answer to one try.
type Rechecked struct {
	Judgement

	// Failed: the fastener moved, so the joint is tightened again from its first
	// stage, whatever the tool was that moved it.
	Failed bool
}

func (c Recheck) stage() Stage {
	return Stage{Kind: Check, Torque: c.Torque}.bounded()
}

// Limits is the window in force.
func (c Recheck) Limits() Window { return c.stage().Torque }

// Ask says what is asked of each fastener.
func (c Recheck) Ask() string { return c.stage().say() }

// Judge answers one try. It counts when the fastener stayed at rest and the
// tool proves that it was asked with enough torque and not too much. The error
// is a *ReadingError if the reading is malformed.
func (c Recheck) Judge(r Reading, tool Tool) (Rechecked, error) {
	switch {
	case r.Fastener < 1 || r.Fastener > c.Fasteners:
		return Rechecked{}, &ReadingError{Field: "fastener", Problem: fmt.Sprintf("is %d, but the joint has bolts 1 to %d", r.Fastener, c.Fasteners)}
	case !isQuantity(r.TorqueNM):
		return Rechecked{}, &ReadingError{Field: "torque_nm", Problem: "must be a finite number from 0 on, in newton metres"}
	}
	s := c.stage()
	able := first(tool.distrust(r.At), tool.unfit(s, r.TorqueNM))
	m := measure(s, r, tool, able == "")
	j := Rechecked{Judgement: Judgement{Stage: 1, Round: 1, Verdict: m.verdict, Risk: m.risk}, Failed: r.Moved}
	early := ""
	if r.At.Before(c.NotBefore) {
		early = "too early: run until " + clock(c.NotBefore)
	}
	obstacle := first(able, early)
	j.Counts = !r.Moved && obstacle == "" && c.Rule.accepts(m.verdict)
	switch {
	case r.Moved:
		j.Reason = fmt.Sprintf("bolt %d moved: it had lost its hold; tighten the joint again from its first stage", r.Fastener)
	case obstacle != "":
		j.Reason = obstacle
	case j.Counts:
		j.Reason = "at rest: it did not move before the click"
	default:
		j.Reason = fmt.Sprintf("%s: %s N·m; try bolt %d again: %s", m.verdict, number(r.TorqueNM), r.Fastener, s.say())
	}
	return j, nil
}
