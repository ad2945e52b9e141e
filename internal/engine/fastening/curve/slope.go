package curve

// sums are what a least-squares line over some samples needs.
type sums struct{ n, a, t, aa, at float64 }

func (s *sums) add(p Sample, sign float64) {
	s.n += sign
	s.a += sign * p.Angle
	s.t += sign * p.Torque
	s.aa += sign * p.Angle * p.Angle
	s.at += sign * p.Angle * p.Torque
}

// slope is that of the line; false if all samples are at one angle.
func (s *sums) slope() (float64, bool) {
	spread := s.n*s.aa - s.a*s.a
	if s.n < 2 || spread <= 1e-12*s.n*s.aa {
		return 0, false
	}
	return (s.n*s.at - s.a*s.t) / spread, true
}

// slopes gives the slope around every sample in N·m per degree, over half a
// window each way. Angles count from the first sample, which keeps the sums
// exact enough for curves of many turns.
func slopes(samples []Sample, window float64) []float64 {
	out := make([]float64, len(samples))
	var s sums
	origin := samples[0].Angle
	at := func(i int) Sample { return Sample{samples[i].Angle - origin, samples[i].Torque} }
	first, next := 0, 0
	for i := range samples {
		for next < len(samples) && samples[next].Angle <= samples[i].Angle+window/2 {
			s.add(at(next), 1)
			next++
		}
		for samples[first].Angle < samples[i].Angle-window/2 {
			s.add(at(first), -1)
			first++
		}
		if v, ok := s.slope(); ok {
			out[i] = v
		}
	}
	return out
}
