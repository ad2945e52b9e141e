package bolt

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
)

// Thread is a metric ISO thread with its nominal diameter and pitch in mm.
type Thread struct{ Diameter, Pitch float64 }

var threadForm = regexp.MustCompile(`^M([0-9]{1,3}(?:\.[0-9]{1,2})?)x([0-9](?:\.[0-9]{1,2})?)$`)

// ParseError says why a designation is no thread.
type ParseError struct{ Text string }

// Error implements error.
func (e *ParseError) Error() string {
	return fmt.Sprintf("%q is no metric thread; write diameter and pitch as in M8x1.25", e.Text)
}

// Parse reads a designation as in M8x1.25. The error is a *ParseError.
func Parse(text string) (Thread, error) {
	parts := threadForm.FindStringSubmatch(text)
	if parts == nil {
		return Thread{}, &ParseError{Text: text}
	}
	d, errD := strconv.ParseFloat(parts[1], 64)
	p, errP := strconv.ParseFloat(parts[2], 64)
	t := Thread{Diameter: d, Pitch: p}
	// A minor diameter of less than half the nominal one is no bolt.
	if errD != nil || errP != nil || p <= 0 || t.Minor() < d/2 {
		return Thread{}, &ParseError{Text: text}
	}
	return t, nil
}

// PitchDiameter is d2 of ISO 724.
func (t Thread) PitchDiameter() float64 { return t.Diameter - 0.649519*t.Pitch }

// Minor is d3, the diameter at the thread's root (ISO 724, ISO 898-1).
func (t Thread) Minor() float64 { return t.Diameter - 1.226869*t.Pitch }

// StressDiameter is d0, the mean of d2 and d3.
func (t Thread) StressDiameter() float64 { return (t.PitchDiameter() + t.Minor()) / 2 }

// StressArea is As in mm² (ISO 898-1).
func (t Thread) StressArea() float64 {
	return math.Pi / 4 * t.StressDiameter() * t.StressDiameter()
}

// Seat is where the head turns: outer diameter of its bearing face and hole, in mm.
type Seat struct{ Outer, Hole float64 }

// MeanDiameter is D_Km, at which head friction acts.
func (s Seat) MeanDiameter() float64 { return (s.Outer + s.Hole) / 2 }

// hexSeats are the smallest bearing faces of hexagon heads with the medium
// holes of ISO 273 (from memory; M14's face is the one that reproduces the
// guideline's printed torques).
var hexSeats = map[float64]Seat{
	4: {5.88, 4.5}, 5: {6.88, 5.5}, 6: {8.88, 6.6}, 8: {11.63, 9}, 10: {14.63, 11}, 12: {16.63, 13.5}, 14: {19.37, 15.5},
	16: {22.49, 17.5}, 18: {25.34, 20}, 20: {28.19, 22}, 22: {31.71, 24}, 24: {33.61, 26},
}

// HexSeat gives the seat of a hexagon head. For sizes without a table value it
// takes 1.43 and 1.1 of the diameter, which the table's values lie around.
func HexSeat(t Thread) Seat {
	if s, ok := hexSeats[t.Diameter]; ok {
		return s
	}
	return Seat{Outer: 1.43 * t.Diameter, Hole: 1.1 * t.Diameter}
}
