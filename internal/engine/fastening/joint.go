package fastening

import (
	"fmt"
	"math"
	"slices"
	"time"
)

// StageKind is what a stage does to a fastener.
type StageKind int

// The kinds of stages.
const (
	Torque  StageKind = iota + 1 // to a torque
	Angle                        // on by an angle from where it stands
	BackOff                      // release by an angle, or fully when the angle is 0
	Wait                         // as for sealant
	Check                        // at a torque, that nothing moves before the click
)

// PartState binds a stage to new or to used fasteners.
type PartState int

// The states of fasteners.
const (
	AnyParts PartState = iota
	NewParts
	UsedParts
)

// Rule is what a joint makes of a verdict.
type Rule int

// The decision rules.
const (
	// Guarded lets only a proved value count (ISO 14253-1).
	Guarded Rule = iota
	// Simple lets any value inside the window count; the risk is the user's.
	Simple
)

// Tolerances of a window that the specification leaves open: common practice, no source.
const (
	openTorqueShare = 0.10 // of the torque, each way
	openAngleDeg    = 5.0  // each way
)

// Window is a target with what is allowed below and above it.
type Window struct{ Target, Minus, Plus float64 }

// Low is the lower limit.
func (w Window) Low() float64 { return w.Target - w.Minus }

// High is the upper limit.
func (w Window) High() float64 { return w.Target + w.Plus }

// or gives the window a tolerance if it has none.
func (w Window) or(tolerance float64) Window {
	if w.Minus == 0 && w.Plus == 0 {
		w.Minus, w.Plus = tolerance, tolerance
	}
	return w
}

// Stage is one step of tightening.
type Stage struct {
	Kind   StageKind
	Torque Window // N·m
	Angle  Window // degrees
	// TorqueFloor must have been reached after an angle stage, in N·m.
	TorqueFloor float64
	// RestartIfOver: beyond the window, loosen fully and begin the fastener anew.
	RestartIfOver bool
	// Fasteners that it concerns; empty: all.
	Fasteners []int
	// Passes over the whole order; 0 means 1.
	Passes int
	// Verify asks for one more pass at the same torque, in which nothing may move.
	Verify bool
	Parts  PartState
	// Tools that may do it, by the catalogue's name; empty: any that can measure it.
	Tools       []string
	BarredTools []string
	Wait        time.Duration
}

// Joint is the specification of one joint for one design.
type Joint struct {
	ID, Title string
	Fasteners int
	// Order holds every fastener once, from 1.
	Order []int
	// SoftGasket: rounds go on until none moves before the click.
	SoftGasket bool
	// Parts tells whether the fasteners are new or used; AnyParts: not known.
	Parts  PartState
	Rule   Rule
	Stages []Stage
}

// SpecError says why a joint cannot be tightened as written.
type SpecError struct{ Joint, Problem string }

// Error implements error.
func (e *SpecError) Error() string { return fmt.Sprintf("joint %s: %s", e.Joint, e.Problem) }

// validate finds what would make a proof impossible or meaningless.
func (j Joint) validate() error {
	wrong := func(format string, args ...any) error {
		return &SpecError{Joint: j.ID, Problem: fmt.Sprintf(format, args...)}
	}
	if j.Fasteners < 1 {
		return wrong("it has no fasteners")
	}
	if !isPermutation(j.Order, j.Fasteners) {
		return wrong("its order must name each of the fasteners 1 to %d once", j.Fasteners)
	}
	for i, s := range j.Stages {
		if problem := s.problem(j.Fasteners); problem != "" {
			return wrong("stage %d %s", i+1, problem)
		}
	}
	if left := j.untouched(); len(left) > 0 {
		return wrong("no stage tightens or checks %s", bolts(left))
	}
	return nil
}

func (s Stage) problem(fasteners int) string {
	for _, v := range []float64{
		s.Torque.Target, s.Torque.Minus, s.Torque.Plus, s.Angle.Target, s.Angle.Minus, s.Angle.Plus, s.TorqueFloor,
	} {
		if v < 0 || math.IsNaN(v) || math.IsInf(v, 0) {
			return "has a value that is negative or no number"
		}
	}
	for _, f := range s.Fasteners {
		if f < 1 || f > fasteners {
			return fmt.Sprintf("names fastener %d of %d", f, fasteners)
		}
	}
	switch s.Kind {
	case Torque, Check:
		if s.Torque.Target == 0 {
			return "has no torque"
		}
	case Angle:
		if s.Angle.Target == 0 {
			return "has no angle"
		}
	case Wait:
		if s.Wait <= 0 {
			return "has no time to wait"
		}
	case BackOff:
	default:
		return "is of no known kind"
	}
	return ""
}

// untouched gives the fasteners that no stage in force tightens.
func (j Joint) untouched() []int {
	var left []int
	for _, f := range j.Order {
		touched := slices.ContainsFunc(j.Stages, func(s Stage) bool {
			return s.appliesTo(j.Parts) && s.Kind != BackOff && s.Kind != Wait && s.concerns(f)
		})
		if !touched {
			left = append(left, f)
		}
	}
	slices.Sort(left)
	return left
}

// appliesTo tells whether the stage is in force; with parts of unknown state, all are.
func (s Stage) appliesTo(parts PartState) bool {
	return s.Parts == AnyParts || parts == AnyParts || s.Parts == parts
}

func (s Stage) concerns(fastener int) bool {
	return len(s.Fasteners) == 0 || slices.Contains(s.Fasteners, fastener)
}

// bounded fills in the tolerances that the specification leaves open.
func (s Stage) bounded() Stage {
	s.Torque = s.Torque.or(openTorqueShare * s.Torque.Target)
	if s.Kind == Angle {
		s.Angle = s.Angle.or(openAngleDeg)
	}
	s.Passes = max(s.Passes, 1)
	return s
}

func isPermutation(order []int, n int) bool {
	if len(order) != n {
		return false
	}
	sorted := slices.Sorted(slices.Values(order))
	for i, f := range sorted {
		if f != i+1 {
			return false
		}
	}
	return true
}
