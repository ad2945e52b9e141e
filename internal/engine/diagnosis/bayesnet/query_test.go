package bayesnet

import (
	"errors"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func load(t testing.TB, name string) *Network {
	t.Helper()
	text, err := os.ReadFile("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	n, err := ReadBIF(string(text))
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// CPTs of the first: pgmpy, BUGS vol 2; evidence asia and dysp is the case of Lauritzen &
// Spiegelhalter. Values recomputed; BN-9 is printed in Jensen & Nielsen 2007 p. 35 as .71 .29 .58 .42.
func TestQueryPublished(t *testing.T) {
	tests := []struct {
		name      string
		network   *Network
		evidence  string // var=state ...
		total     float64
		posterior string // var=state:p ...
		tolerance float64
	}{
		{
			"BN-1", load(t, "asia.bif"), "", 1,
			"tub=yes:.0104 lung=yes:.055 bronc=yes:.45 either=yes:.064828 xray=yes:.11029 dysp=yes:.43597060", 1e-6,
		},
		{
			"BN-2", load(t, "asia.bif"), "asia=yes dysp=yes", .00450137,
			"tub=yes:.087751 lung=yes:.099525 bronc=yes:.811402 either=yes:.182300 xray=yes:.219539 smoke=yes:.625920", 1e-6,
		},
		{"BN-3", load(t, "asia.bif"), "dysp=yes", .43597060, "bronc=yes:.833967 lung=yes:.102759 tub=yes:.018845 smoke=yes:.633997", 1e-6},
		{"BN-5a", load(t, "asia.bif"), "xray=yes", .11029, "lung=yes:.488711 tub=yes:.092411", 1e-6},
		{"BN-5b", load(t, "asia.bif"), "smoke=yes xray=yes", math.NaN(), "lung=yes:.645991 bronc=yes:.6", 1e-6},
		{"BN-8", load(t, "earthquake.bif"), "JohnCalls=True MaryCalls=True", .0106438889, "Burglary=True:.556522", 1e-6},
		{"BN-7", burglary(), "j=t m=t", math.NaN(), "b=t:.284172", 1e-6},
		{"BN-9", carStart(t), "start=no", math.NaN(), "fuel=yes:.706814 fuel=no:.293186 plugs=no:.580626 plugs=yes:.419374", 1e-6},
		{"BN-10", carStart(t), "start=no meter=half", math.NaN(), "fuel=yes:.999309 plugs=yes:.195650", 1e-6},
		{
			"BN-12", load(t, "car18.bif"), "", 1,
			"starts=yes:.280 cranks=yes:.497 battery_voltage=strong:.411 battery_voltage=weak:.178 battery_voltage=dead:.410 " +
				"spark_quality=good:.254 spark_quality=bad:.233 spark_quality=very_bad:.512 plug_voltage=strong:.363 plug_voltage=weak:.178 " +
				"plug_voltage=none:.459 starter_system=okay:.596 headlights=bright:.387 headlights=dim:.173 headlights=off:.440 " +
				"spark_timing=good:.893 spark_timing=bad:.092 spark_timing=very_bad:.015 air_system=okay:.840", 5.1e-4,
		},
		{
			"BN-15", load(t, "car18.bif"), "starts=no", .719616,
			"battery_voltage=dead:.570438 fuel_system=faulty:.135525 spark_plugs=fouled:.229546 main_fuse=blown:.013896 starter_motor=faulty:.006787", 1e-6,
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			evidence := map[string]string{}
			for _, e := range strings.Fields(tt.evidence) {
				name, state, _ := strings.Cut(e, "=")
				evidence[name] = state
			}
			a, err := tt.network.Query(evidence)
			if err != nil {
				t.Fatal(err)
			}
			if !math.IsNaN(tt.total) && math.Abs(a.Evidence-tt.total) > tt.tolerance {
				t.Errorf("evidence %v, want %v", a.Evidence, tt.total)
			}
			for _, p := range strings.Fields(tt.posterior) {
				what, value, _ := strings.Cut(p, ":")
				name, state, _ := strings.Cut(what, "=")
				var want float64
				if _, err := fmt.Sscan("0"+value, &want); err != nil {
					t.Fatal(err)
				}
				v, _ := tt.network.Index(name)
				got := math.NaN()
				for s, title := range tt.network.Variables[v].States {
					if title == state {
						got = a.Posterior[v][s]
					}
				}
				if !(math.Abs(got-want) <= tt.tolerance) {
					t.Errorf("P(%s) = %v, want %v", what, got, want)
				}
			}
		})
	}
}

// burglary has the tables of the well-known textbook network (AIMA 14.4, from memory).
func burglary() *Network {
	tf := []string{"t", "f"}
	return &Network{Variables: []Variable{
		{Name: "b", States: tf, Table: []float64{.001, .999}},
		{Name: "e", States: tf, Table: []float64{.002, .998}},
		{Name: "a", States: tf, Parents: []int{0, 1}, Table: []float64{.95, .05, .94, .06, .29, .71, .001, .999}},
		{Name: "j", States: tf, Parents: []int{2}, Table: []float64{.9, .1, .05, .95}},
		{Name: "m", States: tf, Parents: []int{2}, Table: []float64{.7, .3, .01, .99}},
	}}
}

// carStart is the network of Jensen & Nielsen 2007, read as BIF with all that the format allows.
func carStart(t testing.TB) *Network {
	n, err := ReadBIF(`
		/* car start
		   problem */
		network "car start" { property author someone; }
		variable fuel { type discrete [ 2 ] { yes, no }; property position = (1, 2) ; }
		variable plugs { type discrete[2] { "yes" "no" }; }
		variable meter { type discrete [ 3 ] { full, half, empty }; } // gauge
		variable start { type discrete [ 2 ] { yes, no }; }
		probability ( fuel ) { table 0.98, 0.02; }
		probability ( plugs ) { table 0.96 0.04; }
		probability ( meter | fuel ) { (yes) 0.39, 0.60, 0.01; default 0.001, 0.001, 0.998; }
		probability ( start | fuel, plugs ) { table 0.99, 0.01, 0, 0, 0.01, 0.99, 1, 1; }
	`)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

func TestQueryRefuses(t *testing.T) {
	n := carStart(t)
	var impossible *ImpossibleError
	if _, err := n.Query(map[string]string{"fuel": "no", "start": "yes"}); !errors.As(err, &impossible) {
		t.Errorf("starting without fuel: %v", err)
	}
	if _, err := load(t, "car18.bif").Query(map[string]string{"alternator": "faulty", "charging": "okay"}); !errors.As(err, &impossible) {
		t.Errorf("BN-14, charging with a faulty alternator: %v", err)
	}
	var bad *InvalidError
	if _, err := n.Query(map[string]string{"fuel": "maybe"}); !errors.As(err, &bad) {
		t.Errorf("unknown state: %v", err)
	}
	if _, err := n.Query(map[string]string{"oil": "yes"}); !errors.As(err, &bad) {
		t.Errorf("unknown variable: %v", err)
	}
}

// bruteForce multiplies out the whole joint distribution.
func bruteForce(n *Network, evidence map[int]int) (total float64, posterior [][]float64) {
	posterior = make([][]float64, len(n.Variables))
	for v := range posterior {
		posterior[v] = make([]float64, len(n.Variables[v].States))
	}
	world := make([]int, len(n.Variables))
	var visit func(v int)
	visit = func(v int) {
		if v == len(n.Variables) {
			w := 1.0
			for i, x := range n.Variables {
				row := 0
				for _, p := range x.Parents {
					row = row*len(n.Variables[p].States) + world[p]
				}
				w *= x.Table[row*len(x.States)+world[i]]
			}
			total += w
			for i, s := range world {
				posterior[i][s] += w
			}
			return
		}
		for s := range n.Variables[v].States {
			if want, observed := evidence[v]; !observed || want == s {
				world[v] = s
				visit(v + 1)
			}
		}
	}
	visit(0)
	return total, posterior
}

func TestQueryEqualsEnumeration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := &Network{}
		evidence, named := map[int]int{}, map[string]string{}
		for v := range rapid.IntRange(1, 8).Draw(t, "variables") {
			x := Variable{Name: fmt.Sprint("v", v)}
			for s := range rapid.IntRange(1, 3).Draw(t, "states") {
				x.States = append(x.States, fmt.Sprint("s", s))
			}
			rows := 1
			for p := range v {
				if len(x.Parents) < 3 && rapid.Bool().Draw(t, "parent") {
					x.Parents = append([]int{p}, x.Parents...)
					rows *= len(n.Variables[p].States)
				}
			}
			for range rows {
				x.Table = append(x.Table, drawRow(t, len(x.States))...)
			}
			if rapid.IntRange(0, 3).Draw(t, "observed") == 0 {
				s := rapid.IntRange(0, len(x.States)-1).Draw(t, "state")
				evidence[v], named[x.Name] = s, x.States[s]
			}
			n.Variables = append(n.Variables, x)
		}
		total, want := bruteForce(n, evidence)
		a, err := n.Query(named)
		if total == 0 {
			var impossible *ImpossibleError
			if !errors.As(err, &impossible) {
				t.Fatalf("want impossible evidence, got %v", err)
			}
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(a.Evidence-total) > 1e-12 {
			t.Fatalf("evidence %v, want %v", a.Evidence, total)
		}
		for v := range want {
			for s := range want[v] {
				if math.Abs(a.Posterior[v][s]-want[v][s]/total) > 1e-12 {
					t.Fatalf("variable %d state %d: %v, want %v", v, s, a.Posterior[v][s], want[v][s]/total)
				}
			}
		}
		one := rapid.IntRange(0, len(n.Variables)-1).Draw(t, "asked for")
		few, err := n.Ask(Question{Evidence: named, Variables: []string{n.Variables[one].Name}})
		// Orders are found by a rule, so that of fewer variables may be the wider one; but no more
		// is proved to be needed for a part than the whole was done with.
		if err != nil || math.Abs(few.Evidence-total) > 1e-12 || few.Effort.Bound > a.Effort.Width || few.Effort.Variables > a.Effort.Variables {
			t.Fatalf("asked for one: %v, evidence %v of %v, effort %+v of %+v", err, few.Evidence, total, few.Effort, a.Effort)
		}
		for v := range few.Posterior {
			if (few.Posterior[v] != nil) != (v == one) {
				t.Fatalf("posterior of variable %d: %v", v, few.Posterior[v])
			}
		}
		for s, p := range few.Posterior[one] {
			if math.Abs(p-want[one][s]/total) > 1e-12 {
				t.Fatalf("asked for %d alone: state %d has %v, want %v", one, s, p, want[one][s]/total)
			}
		}
	})
}

// drawRow draws probabilities that may be 0.
func drawRow(t *rapid.T, states int) []float64 {
	row := make([]float64, states)
	sum := 0.0
	for i := range row {
		row[i] = float64(rapid.IntRange(0, 5).Draw(t, "weight"))
		sum += row[i]
	}
	for i := range row {
		if sum == 0 {
			row[i] = 1 / float64(states)
		} else {
			row[i] /= sum
		}
	}
	return row
}

// lattice is a square of two-state variables, each with its upper and left neighbour as parents. Its moral graph
// contains the grid graph, whose treewidth is its side (Robertson & Seymour 1986).
func lattice(side int) *Network {
	n := &Network{}
	for at := range side * side {
		v := Variable{Name: fmt.Sprint("v", at), States: []string{"a", "b"}}
		if at >= side {
			v.Parents = append(v.Parents, at-side)
		}
		if at%side > 0 {
			v.Parents = append(v.Parents, at-1)
		}
		for row := range 1 << len(v.Parents) {
			p := 0.25 + float64(row)/8
			v.Table = append(v.Table, p, 1-p)
		}
		n.Variables = append(n.Variables, v)
	}
	return n
}

func TestAskRefusesWhatNoMemoryHolds(t *testing.T) {
	var large *TooLargeError
	_, err := lattice(28).Query(nil)
	if !errors.As(err, &large) || large.Width < 28 || large.Bound < 3 || large.Bound > large.Width {
		t.Fatalf("a lattice of 28 by 28: %v", err)
	}
	if !strings.Contains(err.Error(), fmt.Sprint("width ", large.Width)) {
		t.Errorf("the refusal hides the width: %v", err)
	}
	// A corner's ancestors are itself alone, so asking for it only is no work.
	a, err := lattice(28).Ask(Question{Variables: []string{"v0"}})
	if err != nil || a.Effort.Variables != 1 || a.Posterior[0][0] != 0.25 {
		t.Errorf("the corner alone: %v %v", a.Posterior[0], err)
	}
	if _, err = lattice(6).Ask(Question{Limit: 1000}); !errors.As(err, &large) || large.Limit != 1000 {
		t.Errorf("a small limit: %v", err)
	}
}

// The bound is of the graph and so may never pass what an order reaches; on these it proves the order best.
func TestWidthIsBounded(t *testing.T) {
	// Treewidths: asia 2 (Lauritzen & Spiegelhalter's triangulation has cliques of 3), alarm 4 (from memory),
	// earthquake 2 (its one clique beyond pairs is the alarm with its two parents).
	for name, want := range map[string]int{"asia.bif": 2, "alarm.bif": 4, "earthquake.bif": 2} {
		a, err := load(t, name).Query(nil)
		if err != nil || a.Effort.Width != want || a.Effort.Bound > want {
			t.Errorf("%s: width %d, at least %d, want %d (%v)", name, a.Effort.Width, a.Effort.Bound, want, err)
		}
	}
}

func BenchmarkQueryAlarm(b *testing.B) {
	n := load(b, "alarm.bif")
	b.ReportAllocs()
	for b.Loop() {
		if _, err := n.Query(map[string]string{"HRBP": "HIGH", "CO": "LOW", "BP": "HIGH"}); err != nil {
			b.Fatal(err)
		}
	}
}
