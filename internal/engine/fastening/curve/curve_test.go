package curve

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// shape is a curve with known answers: free running, an elastic line, and then
// yield by an exponential fall of the slope.
type shape struct {
	free, snug   float64 // torque while running free; angle where the line begins
	gradient     float64
	yield        float64 // angle of onset; 0: none
	fall         float64 // degrees in which the slope falls to 1/e
	end, step    float64
	noise        float64 // standard deviation, N·m
	slips, depth float64 // spacing in degrees of sawteeth, and their depth in N·m
}

func (s shape) torque(angle float64) float64 {
	switch {
	case angle < s.snug:
		return s.free
	case s.yield == 0 || angle < s.yield:
		return s.free + s.gradient*(angle-s.snug)
	}
	return s.free + s.gradient*(s.yield-s.snug) + s.gradient*s.fall*(1-math.Exp(-(angle-s.yield)/s.fall))
}

func (s shape) samples(seed uint64) []Sample {
	random := rand.New(rand.NewPCG(seed, 1))
	var out []Sample
	for angle := 0.0; angle <= s.end; angle += s.step {
		t := s.torque(angle) + s.noise*random.NormFloat64()
		if s.slips > 0 && angle > s.snug {
			t -= s.depth * math.Mod(angle-s.snug, s.slips) / s.slips
		}
		out = append(out, Sample{angle, t})
	}
	return out
}

func analyse(t testing.TB, samples []Sample, s Settings) Report {
	t.Helper()
	r, err := Analyse(samples, s)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %v, want %v ± %v", what, got, want, tolerance)
	}
}

// TestYield: closed form. With a slope that falls as exp(−θ/15°), half of it
// is reached 10.3972 degrees after the onset and 40 % after 13.7444.
func TestYield(t *testing.T) {
	s := shape{snug: 200, gradient: 1.5, yield: 260, fall: 15, end: 320, step: 0.1}
	for _, c := range []struct{ share, after float64 }{{0.5, 10.3972}, {0.4, 13.7444}} {
		r := analyse(t, s.samples(1), Settings{YieldShare: c.share})
		if r.Elastic == nil || r.Yield == nil {
			t.Fatalf("report %+v", r)
		}
		near(t, "gradient", r.Elastic.Gradient, 1.5, 0.02)
		near(t, "snug", r.Elastic.Snug, 200, 0.5)
		near(t, "yield", r.Yield.Angle, 260+c.after, 0.2)
	}
}

// TestOffset: 0.2 % of 100 mm at a pitch of 1.75 mm are 41.143 degrees.
func TestOffset(t *testing.T) {
	near(t, "offset angle", OffsetFor(100, 1.75), 41.143, 0.001)
	s := shape{snug: 50, gradient: 1, yield: 110, fall: 15, end: 260, step: 0.1}
	r := analyse(t, s.samples(1), Settings{Offset: OffsetFor(100, 1.75)})
	if r.Offset == nil {
		t.Fatal("no offset yield point")
	}
	lag := r.Offset.Angle - (r.Elastic.Snug + r.Offset.Torque/r.Elastic.Gradient)
	near(t, "lag there", lag, 41.143, 0.2)
}

func TestWhatIsNotThere(t *testing.T) {
	straight := shape{snug: 60, gradient: 1, end: 140, step: 0.1}
	spike := straight.samples(1)
	spike[1100].Torque = spike[1090].Torque
	locker := straight.samples(1)
	for i := range locker {
		// A plateau of 15 degrees, then on as before: the locker broke, not the bolt.
		if a := locker[i].Angle; a > 100 {
			locker[i].Torque = 40 + math.Max(0, a-115)
		}
	}
	growing := make([]Sample, 0, 600)
	for a := 0.0; a < 60; a += 0.1 {
		growing = append(growing, Sample{a, a * a / 100})
	}
	for _, c := range []struct {
		name    string
		samples []Sample
		elastic bool
	}{
		{"a straight line", straight.samples(1), true},
		{"one sample that stands still", spike, true},
		{"a plateau, then a rise", locker, true},
		{"ends before the slope is constant", growing, false},
	} {
		r := analyse(t, c.samples, Settings{})
		if r.Yield != nil || (r.Elastic != nil) != c.elastic {
			t.Errorf("%s: elastic %v, yield %v", c.name, r.Elastic, r.Yield)
		}
		if r.StickSlip || r.CrossThread || r.Stripped {
			t.Errorf("%s shows signatures: %+v", c.name, r)
		}
	}
}

func TestSignatures(t *testing.T) {
	slipping := shape{snug: 60, gradient: 1, end: 140, step: 0.1, slips: 4, depth: 10}
	tight := shape{free: 12, snug: 300, gradient: 1, end: 330, step: 0.1}
	var stripped []Sample
	for a := 0.0; a <= 120; a += 0.1 {
		stripped = append(stripped, Sample{a, math.Min(a, math.Max(5, 60-2*(a-60)))})
	}
	for _, c := range []struct {
		name                   string
		samples                []Sample
		slip, cross, strippage bool
	}{
		{"stick-slip", slipping.samples(1), true, false, false},
		{"tight thread", tight.samples(1), false, true, false},
		{"stripped", stripped, false, false, true},
	} {
		r := analyse(t, c.samples, Settings{})
		if r.StickSlip != c.slip || r.CrossThread != c.cross || r.Stripped != c.strippage {
			t.Errorf("%s: slip %v (%d falls), cross %v, stripped %v", c.name, r.StickSlip, r.Falls, r.CrossThread, r.Stripped)
		}
	}
}

// TestErrorUnderNoise states the error: gradient within 4 %, snug within 2
// degrees and yield within 3, at noise of 0.5 % of the peak.
func TestErrorUnderNoise(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		gradient := rapid.Float64Range(0.5, 4).Draw(t, "gradient")
		snug := rapid.Float64Range(20, 600).Draw(t, "snug")
		onset := snug + rapid.Float64Range(40, 90).Draw(t, "elastic")
		fall := rapid.Float64Range(8, 20).Draw(t, "fall")
		s := shape{snug: snug, gradient: gradient, yield: onset, fall: fall, end: onset + 60, step: 0.1}
		s.noise = 0.005 * s.torque(s.end)
		r, err := Analyse(s.samples(rapid.Uint64().Draw(t, "seed")), Settings{Window: 10})
		if err != nil || r.Elastic == nil || r.Yield == nil {
			t.Fatalf("report %+v (%v)", r, err)
		}
		if math.Abs(r.Elastic.Gradient/gradient-1) > 0.04 || math.Abs(r.Elastic.Snug-snug) > 2 {
			t.Fatalf("elastic %+v, want gradient %v from %v", r.Elastic, gradient, snug)
		}
		if want := onset + fall*math.Ln2; math.Abs(r.Yield.Angle-want) > 3 {
			t.Fatalf("yield at %v, want %v", r.Yield.Angle, want)
		}
	})
}

func TestRefusedCurves(t *testing.T) {
	line := shape{gradient: 1, end: 20, step: 1}.samples(1)
	back := append(line[:len(line):len(line)], Sample{5, 5})
	for _, samples := range [][]Sample{nil, line[:9], back, append(line[:len(line):len(line)], Sample{99, math.NaN()}), append(line[:len(line):len(line)], Sample{math.Inf(1), 1})} {
		_, err := Analyse(samples, Settings{})
		if _, ok := errors.AsType[*DataError](err); !ok {
			t.Errorf("%d samples: %v, want a DataError", len(samples), err)
		}
	}
}

func TestReadCSV(t *testing.T) {
	rows := func(separator, point string) string {
		return strings.Repeat(strings.ReplaceAll("10.5"+separator+"2.25\n", ".", point), 12)
	}
	for name, text := range map[string]string{
		"comma": rows(",", "."), "heading": "angle,torque\n" + rows(",", "."), "semicolon and decimal comma": rows(";", ","), "tab": rows("\t", "."),
		"byte order mark and Windows lines": "\uFEFFangle;torque\r\n" + strings.ReplaceAll(rows(";", "."), "\n", "\r\n"),
	} {
		samples, err := ReadCSV(strings.NewReader(text))
		if err != nil || len(samples) != 12 || samples[0] != (Sample{10.5, 2.25}) {
			t.Errorf("%s: %v (%v)", name, samples, err)
		}
	}
	for name, text := range map[string]string{
		"empty": "", "words inside": rows(",", ".") + "and so on\n", "one column": "1\n2\n3\n", "NaN": rows(",", ".") + "11,NaN\n",
	} {
		_, err := ReadCSV(strings.NewReader(text))
		if _, ok := errors.AsType[*DataError](err); !ok {
			t.Errorf("%s: %v, want a DataError", name, err)
		}
	}
}

func FuzzReadCSV(f *testing.F) {
	f.Add("angle,torque\n1,2\n2,3\n")
	f.Add("1;2,5\n")
	f.Fuzz(func(t *testing.T, text string) {
		samples, err := ReadCSV(strings.NewReader(text))
		if err != nil {
			return
		}
		if _, err := Analyse(samples, Settings{}); err != nil {
			t.Errorf("what was read cannot be analysed: %v", err)
		}
	})
}

func BenchmarkAnalyse(b *testing.B) {
	samples := shape{snug: 600, gradient: 1, yield: 660, fall: 15, end: 720, step: 0.00072, noise: 0.3}.samples(1)
	for b.Loop() {
		if _, err := Analyse(samples, Settings{}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(samples))*float64(b.N)/b.Elapsed().Seconds(), "samples/s")
}

// BenchmarkReadOnly is the cost of just touching the samples, for comparison.
func BenchmarkReadOnly(b *testing.B) {
	samples := shape{snug: 600, gradient: 1, end: 720, step: 0.00072}.samples(1)
	sum := 0.0
	for b.Loop() {
		for _, p := range samples {
			sum += p.Angle + p.Torque
		}
	}
	if sum == 0 {
		b.Fatal("nothing was read")
	}
	b.ReportMetric(float64(len(samples))*float64(b.N)/b.Elapsed().Seconds(), "samples/s")
}
