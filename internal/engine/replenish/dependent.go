package replenish

import (
	"fmt"
	"math"
)

// Need is a quantity that one job wants of a part, if it wants it at all: the
// design is not known yet, or the diagnosis is not sure of the cause.
type Need struct {
	Job         string
	Quantity    int64
	Probability float64
	// Period in which it is wanted, from 0.
	Period int
}

// Dependent is the demand that follows from jobs, per period.
type Dependent struct {
	Mean, Variance []float64
}

// DependentDemand sums the needs of jobs per period. They are taken as
// independent of one another; a need of a later period is left out.
func DependentDemand(needs []Need, periods int) (Dependent, error) {
	if err := firstUnmet(positive("periods", float64(periods))); err != nil {
		return Dependent{}, err
	}
	if err := checkNeeds(needs); err != nil {
		return Dependent{}, err
	}
	d := Dependent{Mean: make([]float64, periods), Variance: make([]float64, periods)}
	for _, n := range needs {
		if n.Period >= periods {
			continue
		}
		q, p := float64(n.Quantity), n.Probability
		d.Mean[n.Period] += q * p
		d.Variance[n.Period] += q * q * p * (1 - p)
	}
	return d, nil
}

func checkNeeds(needs []Need) error {
	for _, n := range needs {
		err := firstUnmet(positive("Quantity", float64(n.Quantity)),
			need{"Quantity", float64(n.Quantity), n.Quantity <= MaxQuantity, "is more than can be kept"},
			need{"Probability", n.Probability, n.Probability >= 0 && n.Probability <= 1, "must lie between 0 and 1"},
			notNegative("Period", float64(n.Period)))
		if err != nil {
			return err
		}
	}
	return nil
}

// mostSums bounds the exact distribution of sums. Beyond it the normal
// approximation is used, which many needs of any size come close to.
const mostSums = 4096

// Cover is the least quantity that serves all needs of all periods with a
// probability, and why. Exact while there are few different sums.
func Cover(needs []Need, probability float64) (Buy, error) {
	if err := checkNeeds(needs); err != nil {
		return Buy{}, err
	}
	if err := firstUnmet(inside("probability", probability)); err != nil {
		return Buy{}, err
	}
	all, sure, open := int64(0), int64(0), 0
	for _, n := range needs {
		switch n.Probability {
		case 0:
			continue
		case 1:
			sure += n.Quantity
		default:
			open++
		}
		if all += n.Quantity; all > MaxQuantity {
			return Buy{}, &InputError{Field: "needs", Value: float64(all), Reason: "come to more than can be kept"}
		}
	}
	quantity := coverExactly(needs, probability)
	if quantity < 0 {
		quantity = coverNormally(needs, probability, all)
	}
	b := Buy{Quantity: quantity, Urgent: quantity > 0}
	if quantity > 0 {
		b.Reason = fmt.Sprintf("jobs need %d for sure and at most %d in all; %d covers them with %.0f%% (%d may not need theirs)",
			sure, all, quantity, 100*probability, open)
	}
	return b, nil
}

// coverExactly convolves the needs; -1: there are too many different sums.
func coverExactly(needs []Need, probability float64) int64 {
	sums := map[int64]float64{0: 1}
	for _, n := range needs {
		if n.Probability == 0 {
			continue
		}
		next := make(map[int64]float64, 2*len(sums))
		for sum, p := range sums {
			if n.Probability < 1 {
				next[sum] += p * (1 - n.Probability)
			}
			next[sum+n.Quantity] += p * n.Probability
		}
		if sums = next; len(sums) > mostSums {
			return -1
		}
	}
	below := 0.0
	for _, sum := range sortedKeys(sums) {
		below += sums[sum]
		// Rounded terms may sum to just short of what they come to.
		if below >= probability-1e-12 {
			return sum
		}
	}
	return -1
}

func coverNormally(needs []Need, probability float64, all int64) int64 {
	mean, variance := 0.0, 0.0
	for _, n := range needs {
		q, p := float64(n.Quantity), n.Probability
		mean += q * p
		variance += q * q * p * (1 - p)
	}
	q := math.Ceil(mean + NormalQuantile(probability)*math.Sqrt(variance))
	return int64(math.Max(0, math.Min(q, float64(all))))
}
