package fastening

import "math"

// Verdict is what a value proves about a window, uncertainty included.
type Verdict int

// The four answers.
const (
	Conforms         Verdict = iota + 1
	InsideNotProved          // inside the window, but the true value may lie outside
	OutsideNotProved         // outside the window, but the true value may lie inside
	DoesNotConform
)

// String says the verdict in words.
func (v Verdict) String() string {
	switch v {
	case Conforms:
		return "conforms"
	case InsideNotProved:
		return "inside, but not proved"
	case OutsideNotProved:
		return "outside, but not proved"
	case DoesNotConform:
		return "does not conform"
	default:
		return "not judged"
	}
}

// worse gives the less favourable of two verdicts.
func worse(a, b Verdict) Verdict { return max(a, b) }

// Interval holds the true value, at the tool's permissible deviation.
type Interval struct{ Low, High float64 }

// TrueTorque is where the torque lies when a tool of a permissible deviation
// (a share, below 1) shows or is set to a value. ISO 6789-1 takes the
// deviation as a share of the reference, not of the tool's value: 100 N·m at
// 4 % is 96.15 to 104.17.
func TrueTorque(shown, deviation float64) Interval {
	return Interval{Low: shown / (1 + deviation), High: shown / (1 - deviation)}
}

// around is a value with a symmetric uncertainty.
func around(value, uncertainty float64) Interval {
	return Interval{Low: value - uncertainty, High: value + uncertainty}
}

// unknown is the interval of a tool that proves nothing.
func unknown() Interval { return Interval{Low: math.Inf(-1), High: math.Inf(1)} }

// slack keeps a value on the limit inside it in spite of binary fractions.
const slack = 1e-9

// Decide judges a value by ISO 14253-1: conformity is proved when the whole
// interval lies inside the limits, its contrary when it lies outside.
func Decide(value float64, at Interval, low, high float64) Verdict {
	give := slack * math.Max(1, math.Abs(value))
	switch {
	case at.Low >= low-give && at.High <= high+give:
		return Conforms
	case at.High < low-give || at.Low > high+give:
		return DoesNotConform
	case value >= low-give && value <= high+give:
		return InsideNotProved
	default:
		return OutsideNotProved
	}
}

// ConformanceProbability is the chance that the true value lies within the
// limits if it is normal around the reading with a standard uncertainty
// (JCGM 106, with no prior knowledge). A limit may be infinite.
func ConformanceProbability(reading, uncertainty, low, high float64) float64 {
	if uncertainty <= 0 {
		if reading >= low && reading <= high {
			return 1
		}
		return 0
	}
	return normal((high-reading)/uncertainty) - normal((low-reading)/uncertainty)
}

func normal(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }

// risk is the chance that a value inside the interval's middle is wrong: the
// interval is taken as two standard uncertainties each way.
func risk(value float64, at Interval, low, high float64) float64 {
	if math.IsInf(at.Low, 0) || math.IsInf(at.High, 0) {
		return 1
	}
	return 1 - ConformanceProbability(value, (at.High-at.Low)/4, low, high)
}
