package effort

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func near(t *testing.T, name string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s is %v, want %v", name, got, want)
	}
}

// Means: public PERT examples (schematex.js.org, a published blog); variances of the beta-PERT
// distribution: recomputed from its parameters 1 + 4(M-O)/(P-O).
func TestThreePoint(t *testing.T) {
	tests := []struct {
		t              ThreePoint
		mean, variance float64
	}{
		{ThreePoint{5, 8, 14}, 8.5, 2.75},
		{ThreePoint{2, 3, 5}, 3.166667, .305556},
		{ThreePoint{10, 12.5, 20}, 13.333333, 3.174603},
		{ThreePoint{1, 2, 9}, 3, 1.714286},
		{ThreePoint{2, 4, 6}, 4, .571429}, // the classic ((P-O)/6)^2 gives .444444
		{Exactly(7), 7, 0},
	}
	for _, tt := range tests {
		near(t, "mean", tt.t.Mean(), tt.mean, 1e-6)
		near(t, "variance", tt.t.Variance(), tt.variance, 1e-6)
		d := tt.t.LogNormal()
		near(t, "log-normal mean", d.Mean(), tt.mean, 1e-6)
		near(t, "log-normal variance", d.StdDev()*d.StdDev(), tt.variance, 1e-6)
	}
	chain := []ThreePoint{{2, 3, 5}, {5, 8, 14}, {3, 4, 6}, {1, 2, 3}}
	mean, variance := 0.0, 0.0
	for _, x := range chain {
		mean += x.Mean()
		variance += x.Variance()
	}
	near(t, "chain mean", mean, 17.833333, 1e-6) // published as 17.83
	near(t, "chain sd", math.Sqrt(variance), 1.871889, 1e-6)
}

func TestThreePointValid(t *testing.T) {
	for _, bad := range []ThreePoint{{2, 1, 3}, {1, 3, 2}, {-1, 0, 1}, {0, 1, math.Inf(1)}, {math.NaN(), 1, 2}, {0, math.NaN(), 2}} {
		if bad.Valid() {
			t.Errorf("%v is accepted", bad)
		}
	}
	if !(ThreePoint{}).Valid() || !Exactly(3).Valid() {
		t.Error("a plain estimate is refused")
	}
}

// Values recomputed from the definitions; not published.
func TestLogNormal(t *testing.T) {
	d := LogNormal{Mu: math.Log(2), Sigma: .5}
	near(t, "mean", d.Mean(), 2.266297, 1e-6)
	near(t, "median", d.Median(), 2, 1e-12)
	near(t, "mode", d.Mode(), 1.557602, 1e-6)
	near(t, "sd", d.StdDev(), 1.207801, 1e-6)
	near(t, "P80", d.Quantile(.8), 3.046392, 1e-6)
	near(t, "P90", d.Quantile(.9), 3.795905, 1e-6)
	q := LogNormalFromQuantiles(1, 4)
	near(t, "mu", q.Mu, math.Ln2, 1e-12)
	near(t, "sigma", q.Sigma, .540866, 1e-6)
	near(t, "mean", q.Mean(), 2.315012, 1e-6)
	near(t, "P80", q.Quantile(.8), 3.152990, 1e-6)
	m := LogNormalFromMoments(3, .6*3*.6*3)
	near(t, "sigma", m.Sigma, .554513, 1e-6)
	near(t, "mu", m.Mu, .944870, 1e-6)
	if zero := LogNormalFromMoments(0, 0); zero.At(3) != 0 {
		t.Errorf("no work takes %v minutes", zero.At(3))
	}
}

// Formulas: public pages on the normal-gamma distribution, Murphy 2007; values recomputed.
func TestBelief(t *testing.T) {
	prior := Belief{Mu: math.Ln2, Kappa: 4, Alpha: 3, Beta: .5}
	data := []float64{2.5, 1.8, 3.2, 2.9}
	b := prior.Observe(data...)
	near(t, "mu", b.Mu, .8130659582, 1e-9)
	near(t, "kappa", b.Kappa, 8, 0)
	near(t, "alpha", b.Alpha, 5, 0)
	near(t, "beta", b.Beta, .6524063324, 1e-9)
	near(t, "expected variance", b.Variance(), .1631015831, 1e-9)
	freedom, location, scale := b.Student()
	near(t, "degrees of freedom", freedom, 10, 0)
	near(t, "location", location, .8130659582, 1e-9)
	near(t, "scale", scale, .3831336905, 1e-9)
	near(t, "predictive median", b.Predict().Median(), 2.254811, 1e-6)
	near(t, "predictive P80", math.Exp(location+.8790578*scale), 3.157759, 1e-5) // t quantile with 10 degrees
	one := prior
	for _, d := range data {
		one = one.Observe(d)
	}
	near(t, "mu one at a time", one.Mu, b.Mu, 1e-12)
	near(t, "beta one at a time", one.Beta, b.Beta, 1e-12)
	if prior.Observe() != prior {
		t.Error("no data change the belief")
	}
}

func TestBeliefFromEstimate(t *testing.T) {
	estimate := ThreePoint{10, 12.5, 20}
	b := BeliefFrom(estimate, 6)
	near(t, "median", b.Predict().Median(), estimate.LogNormal().Median(), 1e-12)
	near(t, "variance", b.Variance(), math.Pow(estimate.LogNormal().Sigma, 2), 1e-12)
	near(t, "spread where none is given", math.Sqrt(BeliefFrom(Exactly(5), 6).Variance()), DefaultSigma, 1e-12)
	for range 200 {
		b = b.Observe(30)
	}
	near(t, "after many of 30", b.Predict().Median(), 30, 1)
}

func TestPaceShrinks(t *testing.T) {
	var p Pace
	near(t, "unknown", p.Factor(), 1, 0)
	p = p.Observe(20, 10)
	if f := p.Factor(); f <= 1 || f > 1.1 {
		t.Errorf("one slow job gives %v", f)
	}
	for range 500 {
		p = p.Observe(20, 10)
	}
	near(t, "after many", p.Factor(), 2, .05)
}

// Three points made from a distribution give it back: mean and variance are theirs.
func TestThreePointFromGivesTheDistributionBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := LogNormal{Mu: rapid.Float64Range(-3, 6).Draw(t, "mu"), Sigma: rapid.Float64Range(0.01, 0.7).Draw(t, "sigma")}
		points := ThreePointFrom(d)
		if !points.Valid() {
			t.Fatalf("%+v gives %+v", d, points)
		}
		back := points.LogNormal()
		if math.Abs(back.Mu-d.Mu) > 1e-6 || math.Abs(back.Sigma-d.Sigma) > 1e-6 {
			t.Fatalf("%+v gives %+v, and back %+v", d, points, back)
		}
	})
	// However wide it is, points in order come of it, and its mean.
	rapid.Check(t, func(t *rapid.T) {
		d := LogNormal{Mu: rapid.Float64Range(-12, 9).Draw(t, "mu"), Sigma: rapid.Float64Range(0.6, 12).Draw(t, "sigma")}
		if points := ThreePointFrom(d); !points.Valid() || math.Abs(points.Mean()/d.Mean()-1) > 1e-9 {
			t.Fatalf("%+v with the mean %v gives %+v", d, d.Mean(), points)
		}
	})
	if points := ThreePointFrom(LogNormal{Mu: 2, Sigma: 2}); !points.Valid() || math.Abs(points.Mean()-LogNormal{Mu: 2, Sigma: 2}.Mean()) > 1e-9 {
		t.Errorf("a very wide one gives %+v", points)
	}
}

// Summed up and divided by a pace, durations teach what they teach one by one.
func TestLogsTeachLikeDurations(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		durations := rapid.SliceOfN(rapid.Float64Range(0.1, 500), 1, 30).Draw(t, "durations")
		factor := rapid.Float64Range(0.3, 3).Draw(t, "factor")
		prior := BeliefFrom(ThreePoint{4, 6, 12}, 5)
		var sum Logs
		var divided []float64
		for _, d := range durations {
			sum = sum.Add(d)
			divided = append(divided, d/factor)
		}
		got, want := prior.ObserveLogs(sum.Slower(factor)), prior.Observe(divided...)
		for _, pair := range [][2]float64{{got.Mu, want.Mu}, {got.Kappa, want.Kappa}, {got.Alpha, want.Alpha}, {got.Beta, want.Beta}} {
			if math.Abs(pair[0]-pair[1]) > 1e-8*(1+math.Abs(pair[1])) {
				t.Fatalf("%+v, want %+v", got, want)
			}
		}
	})
}
