package diagnosis

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

var startFaults = []Attempt{
	{"battery", .35, 15}, {"fuse", .10, 5}, {"alternator", .20, 60}, {"starter", .25, 90}, {"wiring", .10, 120},
}

// permutations calls visit with every order.
func permutations(list []Attempt, visit func([]Attempt)) {
	var swap func(k int)
	swap = func(k int) {
		if k == len(list) {
			visit(list)
			return
		}
		for i := k; i < len(list); i++ {
			list[k], list[i] = list[i], list[k]
			swap(k + 1)
			list[k], list[i] = list[i], list[k]
		}
	}
	swap(0)
}

// ECR-1 and ECR-2: recomputed over all orders; the p/c rule is Kadane & Simon 1977.
func TestByRatio(t *testing.T) {
	tests := []struct {
		name            string
		attempts        []Attempt
		order           []string
		least, greatest float64
	}{
		{"start faults", startFaults, []string{"battery", "fuse", "alternator", "starter", "wiring"}, 94.75, 247.5},
		{
			"equal costs",
			[]Attempt{{"A", .20, 1}, {"B", .25, 1}, {"C", .40, 1}, {"D", .15, 1}},
			[]string{"C", "B", "A", "D"},
			2.10, 2.90,
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			best := ByRatio(tt.attempts)
			var order []string
			for _, a := range best {
				order = append(order, a.ID)
			}
			if !slices.Equal(order, tt.order) {
				t.Errorf("order %v, want %v", order, tt.order)
			}
			close(t, "least", ExpectedMinutes(best), tt.least, 1e-9)
			least, greatest := math.Inf(1), 0.0
			permutations(slices.Clone(tt.attempts), func(p []Attempt) {
				least, greatest = min(least, ExpectedMinutes(p)), max(greatest, ExpectedMinutes(p))
			})
			close(t, "least of all orders", least, tt.least, 1e-9)
			close(t, "greatest of all orders", greatest, tt.greatest, 1e-9)
		})
	}
	byProbability := []Attempt{startFaults[0], startFaults[3], startFaults[2], startFaults[1], startFaults[4]}
	close(t, "by probability", ExpectedMinutes(byProbability), 110.5, 1e-9)
	byCost := []Attempt{startFaults[1], startFaults[0], startFaults[2], startFaults[3], startFaults[4]}
	close(t, "by cost", ExpectedMinutes(byCost), 95.0, 1e-9)
}

func TestByRatioIsOptimal(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var list []Attempt
		total := 0.0
		for range rapid.IntRange(1, 6).Draw(t, "attempts") {
			p := rapid.Float64Range(.01, 1).Draw(t, "p")
			total += p
			list = append(list, Attempt{"", p, rapid.Float64Range(.1, 50).Draw(t, "c")})
		}
		for i := range list {
			list[i].Probability /= total
		}
		got := ExpectedMinutes(ByRatio(list))
		permutations(list, func(p []Attempt) {
			if other := ExpectedMinutes(p); other < got-1e-9 {
				t.Fatalf("%v is better than %v", other, got)
			}
		})
	})
}

// ECR-3 and ECR-4: recomputed.
func TestExpectedInspecting(t *testing.T) {
	inspect := map[string]float64{"battery": 10, "fuse": 5, "alternator": 20, "starter": 30, "wiring": 60}
	repair := map[string]float64{"battery": 120, "fuse": 2, "alternator": 280, "starter": 240, "wiring": 90}
	var sequence []Inspected
	for _, a := range startFaults {
		a.Minutes = inspect[a.ID]
		sequence = append(sequence, Inspected{a, repair[a.ID]})
	}
	tests := []struct {
		handOver, minutes float64
		attempts          int
	}{
		{0, 207.95, 5}, {100, 100, 0}, {200, 165.45, 2}, {250, 192.95, 2}, {300, 207.95, 5}, {1000, 207.95, 5},
	}
	for _, tt := range tests {
		minutes, attempts := ExpectedInspecting(sequence, tt.handOver)
		close(t, "minutes", minutes, tt.minutes, 1e-9)
		if attempts != tt.attempts {
			t.Errorf("hand over at %v: after %d attempts, want %d", tt.handOver, attempts, tt.attempts)
		}
	}
}

func close(t *testing.T, name string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s is %v, want %v", name, got, want)
	}
}
