package fastening

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// TestUnits: exact factors, and NIST SP 811 B.8 in seven digits (read in
// secondary copies).
func TestUnits(t *testing.T) {
	for _, c := range []struct {
		unit           string
		exact, printed float64
	}{
		{"lbf·ft", 1.3558179483314004, 1.355818},
		{"ft-lb", 1.3558179483314004, 1.355818},
		{"lbf·in", 0.1129848290276167, 0.1129848},
		{"in/lb", 0.1129848290276167, 0.1129848},
		{"ozf·in", 0.00706155181422604375, 0.007061552},
		{"kgf·m", 9.80665, 9.80665},
		{"mkg", 9.80665, 9.80665},
		{"kgf-cm", 0.0980665, 0.0980665},
		{"N·m", 1, 1},
	} {
		got, err := ToNewtonMetres(1, c.unit)
		if err != nil || math.Abs(got/c.exact-1) > 1e-15*4 || math.Abs(got/c.printed-1) > 5e-7 {
			t.Errorf("1 %s = %v N·m (%v), want %v", c.unit, got, err, c.exact)
		}
	}
	if back, err := FromNewtonMetres(135.58179483314004, "lbf·ft"); err != nil || math.Abs(back-100) > 1e-10 {
		t.Errorf("100 lbf·ft come back as %v (%v)", back, err)
	}
	for _, unit := range []string{"", "Nm2", "furlong"} {
		_, err := ToNewtonMetres(1, unit)
		if _, ok := errors.AsType[*UnitError](err); !ok {
			t.Errorf("%q: %v, want a UnitError", unit, err)
		}
	}
}

// TestUnitsAgree: a printed page gives 8 to 12 N·m as 71.4 to 107.1 in/lb,
// exact is 70.8 to 106.2: inside 1 %; ft-lb for in-lb is not.
func TestUnitsAgree(t *testing.T) {
	for _, c := range []struct {
		other     float64
		otherUnit string
		want      bool
	}{{71.4, "in/lb", true}, {70.8, "lbf·in", true}, {71.4, "lb/ft", false}, {72, "lbf·in", false}} {
		got, err := UnitsAgree(8, "N·m", c.other, c.otherUnit)
		if err != nil || got != c.want {
			t.Errorf("8 N·m beside %v %s: %v (%v), want %v", c.other, c.otherUnit, got, err, c.want)
		}
	}
}

// TestAdapter: two army manuals, a helicopter's, a motorcycle's and other
// published cases; 45, 90 and 135 degrees are computed.
func TestAdapter(t *testing.T) {
	for _, c := range []struct {
		torque float64
		a      Adapter
		want   float64
		within float64
	}{
		{40, Adapter{12, 4, 0}, 30, 1e-9},
		{135, Adapter{10, 1.5, 0}, 117.39, 0.005},
		{135, Adapter{10, 1.5, 180}, 158.82, 0.005},
		{50, Adapter{18, 6, 0}, 37.5, 1e-9},
		{50, Adapter{18, 6, 90}, 50, 1e-9},
		{50, Adapter{18, 6, 45}, 40.462822, 1e-6},
		{50, Adapter{18, 6, 135}, 65.419531, 1e-6},
		{80, Adapter{40, 5, 0}, 71.111, 0.0005},
		{20, Adapter{14, 3, 0}, 16.4706, 5e-5},
		{30, Adapter{12, 6, 0}, 20, 1e-9},
	} {
		if got, err := c.a.Setting(c.torque); err != nil || math.Abs(got-c.want) > c.within {
			t.Errorf("%v with %+v: %v (%v), want %v", c.torque, c.a, got, err, c.want)
		}
	}
	if got, err := (Adapter{12, 2, 0}).Applied(60); err != nil || math.Abs(got-70) > 1e-9 {
		t.Errorf("60 set with 2 on 12: %v (%v), want 70", got, err)
	}
	for _, a := range []Adapter{{0, 4, 0}, {-1, 4, 0}, {12, 12, 180}, {12, 20, 180}, {math.NaN(), 1, 0}, {12, math.NaN(), 0}, {12, 4, math.NaN()}, {12, -1, 0}} {
		_, err := a.Setting(40)
		if _, ok := errors.AsType[*AdapterError](err); !ok {
			t.Errorf("%+v: %v, want an AdapterError", a, err)
		}
	}
}

func TestAdapterMovesTheRange(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := Adapter{Lever: rapid.Float64Range(10, 100).Draw(t, "lever"), Reach: rapid.Float64Range(0, 9).Draw(t, "reach"), Angle: rapid.Float64Range(0, 180).Draw(t, "angle")}
		tool := wrench()
		with, err := tool.With(a)
		if err != nil {
			t.Fatal(err)
		}
		set, err := a.Setting(with.MaxNM)
		if err != nil || math.Abs(set-tool.MaxNM) > 1e-9*tool.MaxNM {
			t.Fatalf("the top of the range is set as %v (%v), want %v", set, err, tool.MaxNM)
		}
	})
}

// TestRisks: a public metrology library's manual and tests (G2, G3, RP-19
// draft), and false accepts by test uncertainty ratio at 90 % in tolerance
// with simple acceptance, k = 2 (computed).
func TestRisks(t *testing.T) {
	p := Process{Mean: 9.5, Scatter: 0.3, Uncertainty: 0.1, Low: 9, High: 10}
	r := p.Risks()
	if math.Abs(r.FalseAccept-0.0189422) > 1e-6 || math.Abs(r.FalseReject-0.0372078) > 1e-6 {
		t.Errorf("risks %+v", r)
	}
	if guard := p.GuardFor(0.005); math.Abs(guard-0.092066) > 1e-5 {
		t.Errorf("guard band %v, want 0.092066", guard)
	}
	if guard := p.GuardFor(0.5); guard != 0 {
		t.Errorf("a guard band of %v for no need", guard)
	}
	const z90 = 1.6448536269514722 // half of the 10 % outside lies beyond each limit
	for ratio, want := range map[float64]float64{1: .032509, 2: .022638, 3: .017142, 4: .013741, 10: .006220} {
		p := Process{Scatter: 1 / z90, Uncertainty: 1 / ratio / 2, Low: -1, High: 1}
		if got := p.Risks().FalseAccept; math.Abs(got-want) > 1e-6 {
			t.Errorf("ratio %v: false accept %v, want %v", ratio, got, want)
		}
	}
}
