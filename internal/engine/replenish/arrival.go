package replenish

import (
	"maps"
	"slices"
)

// Arrival is a delivery on order, expected on a day (whole days from any zero).
type Arrival struct {
	Quantity int64
	Day      int
	// Lateness in days of the supplier's deliveries so far, negative for early;
	// empty: nothing is known and it is taken at its word.
	Lateness []int
}

// byDay is the probability that it is there by a day.
func (a Arrival) byDay(day int) float64 {
	if len(a.Lateness) == 0 {
		if day >= a.Day {
			return 1
		}
		return 0
	}
	there := 0
	for _, late := range a.Lateness {
		if a.Day+late <= day {
			there++
		}
	}
	return float64(there) / float64(len(a.Lateness))
}

// ByDay is the probability that a quantity has arrived by a day. The deliveries
// are late independently of one another.
func ByDay(arrivals []Arrival, quantity int64, day int) (float64, error) {
	if err := checkArrivals(arrivals, quantity); err != nil {
		return 0, err
	}
	sums := map[int64]float64{0: 1}
	for _, a := range arrivals {
		there := a.byDay(day)
		next := make(map[int64]float64, 2*len(sums))
		for _, sum := range sortedKeys(sums) {
			if there < 1 {
				next[sum] += sums[sum] * (1 - there)
			}
			if there > 0 {
				next[min(quantity, sum+a.Quantity)] += sums[sum] * there
			}
		}
		sums = next
	}
	return sums[quantity], nil
}

// mostArrivals bounds the sums of one question: open orders of one part are few.
const mostArrivals = 16

func checkArrivals(arrivals []Arrival, quantity int64) error {
	if err := firstUnmet(positive("quantity", float64(quantity)),
		need{"arrivals", float64(len(arrivals)), len(arrivals) <= mostArrivals, "are too many; put those of one day together"}); err != nil {
		return err
	}
	for _, a := range arrivals {
		if err := firstUnmet(positive("Quantity", float64(a.Quantity))); err != nil {
			return err
		}
	}
	return nil
}

// ArrivalDay is the first day by which a quantity has arrived with a probability.
// False: so much is not on order.
func ArrivalDay(arrivals []Arrival, quantity int64, probability float64) (day int, known bool, err error) {
	if err := checkArrivals(arrivals, quantity); err != nil {
		return 0, false, err
	}
	if err := firstUnmet(inside("probability", probability)); err != nil {
		return 0, false, err
	}
	days, total := map[int]bool{}, int64(0)
	for _, a := range arrivals {
		if total < quantity {
			total += min(a.Quantity, quantity)
		}
		if len(a.Lateness) == 0 {
			days[a.Day] = true
		}
		for _, late := range a.Lateness {
			days[a.Day+late] = true
		}
	}
	if total < quantity {
		return 0, false, nil
	}
	for _, day := range slices.Sorted(maps.Keys(days)) {
		p, err := ByDay(arrivals, quantity, day)
		if err != nil {
			return 0, false, err
		}
		if p >= probability-1e-12 {
			return day, true, nil
		}
	}
	return 0, false, nil
}

func sortedKeys(sums map[int64]float64) []int64 { return slices.Sorted(maps.Keys(sums)) }
