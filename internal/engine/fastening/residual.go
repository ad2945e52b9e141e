package fastening

import (
	"fmt"
	"time"
)

// Residual is what a tight fastener was found to hold.
type Residual struct {
	TorqueNM float64
	At       time.Time
	// Low and High are limits that somebody gives; both 0: none.
	Low, High float64
}

// Limited tells whether there is anything to judge by. No standard gives a
// limit for residual torque, so the specification has to.
func (r Residual) Limited() bool { return r.Low > 0 || r.High > 0 }

// Held is the answer to a residual torque. Verdict 0: recorded, not judged.
type Held struct {
	Verdict Verdict
	Risk    float64
	Reason  string
}

// JudgeResidual answers what a fastener was found to hold. Without a limit, or
// with a tool that proves nothing, the value is recorded and not judged.
func JudgeResidual(r Residual, tool Tool) Held {
	if tool.Kind == SettingWrench {
		return Held{Risk: 1, Reason: "recorded, not judged: a click wrench shows what it was set to, not what a bolt holds; take one that indicates"}
	}
	if why := first(tool.distrust(r.At), tool.cannotMeasure(r.TorqueNM)); why != "" {
		return Held{Risk: 1, Reason: "recorded, not judged: " + why}
	}
	if !r.Limited() {
		return Held{Reason: "recorded, not judged: no limit is given"}
	}
	at := TrueTorque(r.TorqueNM, tool.Deviation)
	h := Held{Verdict: Decide(r.TorqueNM, at, r.Low, r.upper()), Risk: risk(r.TorqueNM, at, r.Low, r.upper())}
	h.Reason = fmt.Sprintf("%s: %s N·m, asked are %s", h.Verdict, number(r.TorqueNM), r.limits())
	return h
}

// upper is the upper limit; without one there is none.
func (r Residual) upper() float64 {
	if r.High == 0 {
		return unknown().High
	}
	return r.High
}

func (r Residual) limits() string {
	if r.High == 0 {
		return number(r.Low) + " N·m and more"
	}
	return fmt.Sprintf("%s to %s N·m", number(r.Low), number(r.High))
}
