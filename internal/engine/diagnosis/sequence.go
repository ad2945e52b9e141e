package diagnosis

import (
	"cmp"
	"slices"
)

// Attempt is one action of a sequence that is followed until the fault is gone.
type Attempt struct {
	ID string
	// Probability that it mends the car, exclusive of the other attempts.
	Probability float64
	Minutes     float64
}

// ByRatio orders attempts by falling probability per minute, which is optimal for a single fault
// and independent attempts (Kadane & Simon 1977), in O(n log n). Equal ratios keep their order.
func ByRatio(attempts []Attempt) []Attempt {
	out := slices.Clone(attempts)
	slices.SortStableFunc(out, func(a, b Attempt) int {
		return cmp.Compare(b.Probability*a.Minutes, a.Probability*b.Minutes)
	})
	return out
}

// ExpectedMinutes is the expected cost of repair of a sequence: every attempt is paid for while
// the fault is still there. Probabilities sum up to at most 1.
func ExpectedMinutes(sequence []Attempt) float64 {
	cost, remaining := 0.0, 1.0
	for _, a := range sequence {
		cost += remaining * a.Minutes
		remaining -= a.Probability
	}
	return cost
}

// Inspected is an attempt that looks first and repairs only what it finds broken.
type Inspected struct {
	Attempt
	// RepairMinutes are paid only when the inspection finds the fault.
	RepairMinutes float64
}

// ExpectedInspecting is the expected cost of a sequence of inspections with repairs, ended by
// handing the car over after the attempt from which on that is cheaper; handOver 0 means never.
// The best order is by probability per minute of inspection. It gives the number of attempts made
// before the car is handed over.
func ExpectedInspecting(sequence []Inspected, handOver float64) (minutes float64, attempts int) {
	remaining := 1.0
	for _, a := range sequence {
		remaining -= a.Probability
	}
	remaining = max(0, remaining)
	for i := len(sequence) - 1; i >= 0; i-- {
		a := sequence[i]
		remaining += a.Probability
		goOn := minutes + remaining*a.Minutes + a.Probability*a.RepairMinutes
		attempts++
		if call := handOver * remaining; handOver > 0 && call < goOn {
			goOn, attempts = call, 0
		}
		minutes = goOn
	}
	return minutes, attempts
}
