package curve

import (
	"fmt"
	"math"
)

// Sample is one point: degrees and N·m.
type Sample struct{ Angle, Torque float64 }

// Settings are the thresholds; zero values mean the defaults.
type Settings struct {
	// Window in degrees over which a slope is fitted; 5.
	Window float64
	// Steady is the share of the steepest slope that still counts as elastic; 0.85.
	Steady float64
	// LeastElastic in degrees that a steady slope must last; 10.
	LeastElastic float64
	// YieldShare of the elastic slope below which the bolt yields; 0.5.
	YieldShare float64
	// Offset in degrees by which the curve leaves the elastic line at the offset
	// yield point; 0: not asked for. OffsetFor gives the usual one.
	Offset float64
}

func (s Settings) orDefaults() Settings {
	s.Window = positiveOr(s.Window, 5)
	s.Steady = positiveOr(s.Steady, 0.85)
	s.LeastElastic = positiveOr(s.LeastElastic, 10)
	s.YieldShare = positiveOr(s.YieldShare, 0.5)
	return s
}

func positiveOr(v, otherwise float64) float64 {
	if v > 0 {
		return v
	}
	return otherwise
}

// OffsetFor gives the angle in degrees of 0.2 % permanent strain over a clamp
// length and pitch in mm.
func OffsetFor(length, pitch float64) float64 { return 0.002 * length / pitch * 360 }

// DataError says why samples cannot be read as a curve.
type DataError struct {
	Sample  int // from 1; 0: all of them
	Problem string
}

// Error implements error.
func (e *DataError) Error() string {
	if e.Sample == 0 {
		return e.Problem
	}
	return fmt.Sprintf("sample %d: %s", e.Sample, e.Problem)
}

const leastSamples = 10

func validate(samples []Sample) error {
	if len(samples) < leastSamples {
		return &DataError{Problem: fmt.Sprintf("a curve needs %d samples, and there are %d", leastSamples, len(samples))}
	}
	last := math.Inf(-1)
	for i, s := range samples {
		switch {
		case math.IsNaN(s.Angle) || math.IsInf(s.Angle, 0) || math.IsNaN(s.Torque) || math.IsInf(s.Torque, 0):
			return &DataError{Sample: i + 1, Problem: "angle and torque must be finite numbers"}
		case s.Angle < last:
			return &DataError{Sample: i + 1, Problem: "the angle goes back; cut the curve where the tool was turned back"}
		}
		last = s.Angle
	}
	return nil
}
