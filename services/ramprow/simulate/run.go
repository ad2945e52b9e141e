package simulate

import (
	"ramprow/internal/platform/simulation"
	"ramprow/internal/platform/sitelog"
)

// Day names one simulated day.
type Day struct {
	Seed  uint64
	Steps int
	// Keep lists the steps that are taken; nil: all.
	Keep []int
	// plant makes what tests put between a replica and its log; nil: nothing.
	plant func() wrapping
}

// wrapping puts something between a replica and its log.
type wrapping func(replica string, log sitelog.Log) sitelog.Log

// live lets a day pass.
func (d Day) live() (simulation.Result, error) {
	w, err := furnished()
	if err != nil {
		return simulation.Result{}, err
	}
	c := simulation.Config{
		Seed: d.Seed, Steps: d.Steps, Keep: d.Keep, Services: services(), Site: site,
		Before: w.logs, Began: morning, Scenario: newDay(d.Seed, w.catalogue),
	}
	if d.plant != nil {
		c.Wrap = d.plant()
	}
	return simulation.Run(c)
}

// Records lets a day pass and gives the logs that it leaves.
func (d Day) Records() ([]sitelog.Record, error) {
	result, err := d.live()
	return result.Records, err
}
