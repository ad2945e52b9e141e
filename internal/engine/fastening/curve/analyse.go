package curve

import "math"

// Line is the elastic part: torque = Gradient · (angle − Snug).
type Line struct {
	Gradient float64 // N·m per degree
	Snug     float64 // degrees at which the tangent meets zero torque
	From, To float64 // degrees between which the slope is steady
}

// Point is a place on the curve.
type Point struct{ Angle, Torque float64 }

// Report is what a curve shows. Nil means not seen.
type Report struct {
	Elastic *Line
	Yield   *Point // slope fell below the share for good
	Offset  *Point // offset yield point, if asked for
	Peak    Point
	End     Point
	// Falls counts sudden losses of torque that were made up again.
	Falls       int
	StickSlip   bool
	CrossThread bool
	Stripped    bool // torque fell for good: a thread gave way
	// Settings are the thresholds used.
	Settings Settings
}

// Analyse reads a curve. The error is a *DataError.
func Analyse(samples []Sample, s Settings) (Report, error) {
	s = s.orDefaults()
	if err := validate(samples); err != nil {
		return Report{}, err
	}
	r := Report{Settings: s, Peak: peak(samples), End: Point(samples[len(samples)-1])}
	steep := slopes(samples, s.Window)
	from, to := steadiest(samples, steep, s.Steady)
	r.Elastic = elastic(samples, steep, from, to, s)
	if r.Elastic != nil {
		r.Yield = yield(samples, steep, to, r.Elastic.Gradient, s)
		r.Offset = offset(samples, to, *r.Elastic, s.Offset)
	}
	r.signatures(samples)
	return r, nil
}

func peak(samples []Sample) Point {
	top := samples[0]
	for _, p := range samples {
		if p.Torque > top.Torque {
			top = p
		}
	}
	return Point(top)
}

// steadiest gives the widest run of samples whose slope is near the steepest.
func steadiest(samples []Sample, steep []float64, share float64) (from, to int) {
	most := math.Inf(-1)
	for _, v := range steep {
		most = math.Max(most, v)
	}
	begin, width := -1, -1.0
	for i := 0; i <= len(steep); i++ {
		if i < len(steep) && steep[i] >= share*most {
			if begin < 0 {
				begin = i
			}
			continue
		}
		if begin >= 0 {
			if w := samples[i-1].Angle - samples[begin].Angle; w > width {
				from, to, width = begin, i, w
			}
			begin = -1
		}
	}
	return from, to
}

// rising is by how much the second half of a run may be steeper than the first
// before the slope counts as still growing.
const rising = 1.05

// elastic fits the line, unless the run is too short, flat or still growing.
func elastic(samples []Sample, steep []float64, from, to int, s Settings) *Line {
	if to-from < 2 || samples[to-1].Angle-samples[from].Angle < s.LeastElastic {
		return nil
	}
	middle := (from + to) / 2
	if mean(steep[middle:to]) > rising*mean(steep[from:middle]) {
		return nil
	}
	var fit sums
	origin := samples[from].Angle
	for _, p := range samples[from:to] {
		fit.add(Sample{p.Angle - origin, p.Torque}, 1)
	}
	gradient, ok := fit.slope()
	if !ok || gradient <= 0 {
		return nil
	}
	return &Line{
		Gradient: gradient, Snug: origin + (fit.a-fit.t/gradient)/fit.n,
		From: origin, To: samples[to-1].Angle,
	}
}

func mean(values []float64) float64 {
	sum := 0.0
	for _, v := range values {
		sum += v
	}
	return sum / float64(len(values))
}

// yield finds where the slope falls below the share and stays there for at
// least a window. A slope that comes back, as after a thread locker broke, was
// no yield.
func yield(samples []Sample, steep []float64, after int, gradient float64, s Settings) *Point {
	limit := s.YieldShare * gradient
	begin := -1
	for i := after; i < len(steep); i++ {
		switch {
		case steep[i] >= s.Steady*gradient:
			begin = -1
		case steep[i] < limit && begin < 0:
			begin = i
		}
	}
	if begin < 0 || samples[len(samples)-1].Angle-samples[begin].Angle < s.Window {
		return nil
	}
	p := Point(samples[begin])
	return &p
}

// offset finds where the curve has left the elastic line by an angle.
func offset(samples []Sample, after int, line Line, angle float64) *Point {
	if angle <= 0 {
		return nil
	}
	for _, p := range samples[after:] {
		if p.Angle-(line.Snug+p.Torque/line.Gradient) >= angle {
			found := Point(p)
			return &found
		}
	}
	return nil
}
