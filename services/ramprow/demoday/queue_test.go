package demoday

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	"ramprow/internal/engine/flow"
	commonv1 "ramprow/proto/ramprow/common/v1"
)

// The day's own draws, let through a queue of the kind that formulas are published for (open at all hours, first come,
// first served, any bay will do), wait as the formulas say: Erlang C for exponential services, Pollaczek and Khinchine
// for the day's log-normal ones at one bay, Sakasegawa's approximation at several. The day as it is lived is no such
// queue: it closes at night, and the board is planned. So this holds the draws and the figures against theory, and no
// more. Tolerance: 3 standard errors by batch means, and 5 % where the formula is an approximation (with exponential
// services it is off by 2.8 % at most).
func TestTheDaysQueuesWaitAsPublished(t *testing.T) {
	gap := float64((lastIntake-opensAt)*time.Hour) / carsADay // mean
	step := &commonv1.ThreePoint{Likely: durationpb.New(30 * time.Minute), Pessimistic: durationpb.New(75 * time.Minute)}
	sigma := math.Log(2.5) / 2
	typical := float64(30*time.Minute) * math.Exp(sigma*sigma/2) // mean of the log-normal through both points
	scv := math.Exp(sigma*sigma) - 1
	exponential := func(r *rand.Rand, mean float64) float64 { return -math.Log(1-r.Float64()) * mean }
	lognormal := func(r *rand.Rand, mean float64) float64 {
		return float64((&visit{r: r}).takes(step)) * mean / typical
	}
	tests := []struct {
		bays      int
		busy      float64
		service   func(*rand.Rand, float64) float64
		published func(service float64) float64
		slack     float64
	}{
		{1, .75, exponential, func(s float64) float64 { return flow.MMC(1/gap, 1/s, 1).Wait }, 0},
		{2, .8, exponential, func(s float64) float64 { return flow.MMC(1/gap, 1/s, 2).Wait }, 0},
		{6, .8, exponential, func(s float64) float64 { return flow.MMC(1/gap, 1/s, 6).Wait }, 0},
		{1, .8, lognormal, func(s float64) float64 { return flow.PollaczekKhinchine(1/gap, s, scv) }, 0},
		{3, .85, lognormal, func(s float64) float64 { return flow.Sakasegawa(1, scv, s, 3, .85) }, .05},
	}
	for i, c := range tests {
		service := c.busy * float64(c.bays) * gap
		name := fmt.Sprintf("%d bays, %.0f %% busy, case %d", c.bays, 100*c.busy, i+1)
		r := rand.New(rand.NewPCG(2026, uint64(i+1)))
		waits, shop := queued(r, c.bays, func() float64 { return c.service(r, service) })
		mean, deviation := batches(waits)
		want := c.published(service)
		if off := math.Abs(mean - want); off > 3*deviation+c.slack*want {
			t.Errorf("%s: a mean wait of %v, published %v, standard error %v", name, time.Duration(mean), time.Duration(want), time.Duration(deviation))
		}
		if deviation > .025*want {
			t.Errorf("%s: the run is too short to tell: standard error %v of %v", name, time.Duration(deviation), time.Duration(want))
		}
		measured(t, name, shop, waits[:measuredCars])
		t.Logf("%s: %v, published %v, standard error %v", name, time.Duration(mean), time.Duration(want), time.Duration(deviation))
	}
}

// Theory is held against manyCars; the figures are made of the first measuredCars of them.
const (
	manyCars     = 1_000_000
	measuredCars = 3_000
)

// queued lets cars through a queue, and gives how long each waited and the first of them as stays.
func queued(r *rand.Rand, bays int, service func() float64) (waits []int64, shop flow.Shop) {
	start := time.Date(2026, time.March, 2, 0, 0, 0, 0, time.UTC).UnixNano()
	free := make([]int64, bays)
	for i := range free {
		free[i] = start
		always := []flow.Version{{}}
		shop.Resources = append(shop.Resources, flow.Resource{Name: fmt.Sprint("bays/", i), Versions: always}, flow.Resource{Name: fmt.Sprint("people/", i), Versions: always})
	}
	now := start
	for number := range manyCars {
		now += int64(untilNextCar(r))
		bay := 0
		for i := range free {
			if free[i] < free[bay] {
				bay = i
			}
		}
		begins := max(now, free[bay])
		free[bay] = begins + int64(service())
		waits = append(waits, begins-now)
		if number >= measuredCars {
			continue
		}
		v := flow.Visit{Number: uint64(number + 1)}
		v.Note(flow.Mark{At: now, Phase: flow.Repair})
		v.Note(flow.Mark{At: begins, Phase: flow.Repair, Bay: fmt.Sprint("bays/", bay), Hands: fmt.Sprint(bay)})
		v.End(free[bay], false)
		shop.Visits = append(shop.Visits, v)
	}
	return waits, shop
}

// measured demands that the figures know each wait, and that from empty to empty L = λW holds without edges, exactly.
func measured(t *testing.T, name string, shop flow.Shop, waits []int64) {
	t.Helper()
	first, last, sum := shop.Visits[0].Marks[0].At, int64(0), int64(0)
	for i, v := range shop.Visits {
		last, sum = max(last, v.Ended), sum+waits[i]
	}
	f := flow.Measure(shop, flow.Window{From: first, To: last + 1, Now: last + 1})
	if got := f.Stages[flow.WaitingForBay].Total; got != sum {
		t.Errorf("%s: cars waited %v, the figures say %v", name, time.Duration(sum), time.Duration(got))
	}
	if l := f.Little; l.Residual != 0 || l.Before != 0 || l.After != 0 || math.Abs(l.Jobs()-l.Product()) > 1e-9*l.Jobs() {
		t.Errorf("%s: Little's law %+v", name, l)
	}
}

// batches gives the mean wait and its standard error from 20 batches of cars one after another.
func batches(waits []int64) (mean, deviation float64) {
	const count = 20
	var means [count]float64
	for i, wait := range waits {
		means[i*count/len(waits)] += float64(wait) * count / float64(len(waits))
	}
	for _, m := range means {
		mean += m / count
	}
	for _, m := range means {
		deviation += (m - mean) * (m - mean) / (count - 1)
	}
	return mean, math.Sqrt(deviation / count)
}
