package fastening

import (
	"fmt"
	"math"
	"slices"
	"time"
)

// ToolKind is what a tool can measure.
type ToolKind int

// The kinds of tools.
const (
	SettingWrench    ToolKind = iota + 1 // click or slip type
	IndicatingWrench                     // shows the torque
	TorqueAngle                          // shows torque and angle
	AngleGauge                           // angle only
	Gun                                  // runs down; proves nothing
)

const (
	// CyclesToCalibration is the ISO 6789 default where a workshop sets no other.
	CyclesToCalibration = 5000
	// angleUncertainty of any angle tool, in degrees: common practice, no source.
	angleUncertainty = 1.0
)

// ToolCheck is a calibration or a check on the tester.
type ToolCheck struct {
	At     time.Time
	Passed bool
	// CalibrationDue is set by a calibration only: the day from which another is due.
	CalibrationDue time.Time
}

// Tool is a wrench as the register knows it.
type Tool struct {
	Name string
	// Class is the catalogue's name of such tools, for stages that allow or bar them.
	Class        string
	Kind         ToolKind
	MinNM, MaxNM float64
	// Deviation is the permissible one by ISO 6789-1, as a share.
	Deviation float64
	Cycles    int // since the last calibration
	Retired   bool
	Checks    []ToolCheck // oldest first
}

// CheckPasses tells whether a tool that shows or is set to target N·m while
// the reference measures another value keeps its permissible deviation, and
// gives the deviation found, as a share of the reference (ISO 6789-1).
func CheckPasses(target, measured, permissible float64) (bool, float64) {
	if measured <= 0 {
		return false, math.Inf(1)
	}
	found := (target - measured) / measured
	return math.Abs(found) <= permissible+slack, found
}

// LastGood is the time of the last check or calibration passed before a time;
// zero if there is none.
func (t Tool) LastGood(before time.Time) time.Time {
	good := time.Time{}
	for _, c := range t.Checks {
		if c.Passed && c.At.Before(before) {
			good = c.At
		}
	}
	return good
}

// distrust says why the tool proves nothing at a moment; empty: it does.
func (t Tool) distrust(at time.Time) string {
	switch {
	case t.Kind == Gun:
		return "a gun runs fasteners down and proves nothing; take a wrench"
	case t.Retired:
		return t.Name + " is retired; take another wrench"
	case t.Cycles >= CyclesToCalibration:
		return fmt.Sprintf("%s has done %d readings since its calibration; have it calibrated or take another wrench", t.Name, t.Cycles)
	}
	if problem := t.uncalibrated(at); problem != "" {
		return problem
	}
	return t.doubted(at)
}

// uncalibrated looks at the calibration that was in force on that day. An
// angle gauge has nothing that drifts, so it may do without.
func (t Tool) uncalibrated(at time.Time) string {
	var due time.Time
	for _, c := range t.Checks {
		if !c.CalibrationDue.IsZero() && !c.At.After(at) {
			due = c.CalibrationDue
		}
	}
	switch {
	case due.IsZero() && t.Kind != AngleGauge:
		return t.Name + " had no calibration at that time; have it calibrated or take another wrench"
	case !due.IsZero() && !at.Before(due):
		return fmt.Sprintf("the calibration of %s was due on %s; have it calibrated or take another wrench", t.Name, day(due))
	}
	return ""
}

// doubted looks at the checks on both sides of the moment: one that failed
// afterwards puts all readings since the last good one in doubt.
func (t Tool) doubted(at time.Time) string {
	next := slices.IndexFunc(t.Checks, func(c ToolCheck) bool { return c.At.After(at) })
	if next < 0 {
		next = len(t.Checks)
	}
	switch {
	case next > 0 && !t.Checks[next-1].Passed:
		return fmt.Sprintf("%s failed its check on %s; take another wrench", t.Name, day(t.Checks[next-1].At))
	case next < len(t.Checks) && !t.Checks[next].Passed:
		return fmt.Sprintf("%s failed its check on %s, after this reading; tighten again with another wrench", t.Name, day(t.Checks[next].At))
	}
	return ""
}

// unfit says why the tool may not or cannot do a stage; empty: it can.
func (t Tool) unfit(s Stage, torque float64) string {
	switch {
	case len(s.Tools) > 0 && !slices.Contains(s.Tools, t.Class):
		return "this stage is done with " + list(s.Tools, "or")
	case slices.Contains(s.BarredTools, t.Class) && t.Class != "":
		return t.Class + " must not be used for this stage"
	}
	switch s.Kind {
	case Torque, Check:
		return t.cannotMeasure(torque)
	case Angle:
		if t.Kind != TorqueAngle && t.Kind != AngleGauge {
			return t.Name + " does not measure angles; take an angle gauge"
		}
		if s.TorqueFloor > 0 {
			return t.cannotMeasure(torque)
		}
	case BackOff, Wait:
	}
	return ""
}

func (t Tool) cannotMeasure(torque float64) string {
	switch {
	case t.Kind == AngleGauge || t.Kind == Gun:
		return t.Name + " does not measure torque; take a torque wrench"
	case torque < t.MinNM-slack || torque > t.MaxNM+slack:
		return fmt.Sprintf("%s N·m is outside the range of %s (%s to %s N·m); take another wrench",
			number(torque), t.Name, number(t.MinNM), number(t.MaxNM))
	}
	return ""
}
