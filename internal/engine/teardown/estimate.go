package teardown

import (
	"math"
	"math/rand/v2"
	"slices"

	"ramprow/internal/engine/teardown/effort"
)

// estimate fills in the set-up loss and the distribution of each phase and of the whole. Steps are
// log-normal; their logarithms are correlated alike, through one common factor. Means are exact,
// percentiles are from draws with the given seed.
func (e *Engine) estimate(p *Plan, o Options) {
	setup := e.setupByPhase(p.Steps)
	for phase, minutes := range setup {
		p.SetupMinutes += minutes
		p.ByPhase[phase].Mean = minutes
	}
	for _, s := range p.Steps {
		p.ByPhase[s.Phase].Mean += s.Effort.Mean()
	}
	for _, phase := range p.ByPhase {
		p.Total.Mean += phase.Mean
	}
	if o.MeansOnly {
		return
	}
	samples := sample(p.Steps, o)
	for phase := range p.ByPhase {
		p.ByPhase[phase].percentiles(samples[phase], setup[phase])
	}
	p.Total.percentiles(samples[len(p.ByPhase)], p.SetupMinutes)
}

// sample draws the duration of each phase and, last, of the whole.
//

func sample(steps []Step, o Options) [5][]float64 {
	draws := o.Draws
	if draws <= 0 {
		draws = DefaultDraws
	}
	times := make([]effort.LogNormal, len(steps))
	for i, s := range steps {
		times[i] = s.Effort.LogNormal()
	}
	random := rand.New(rand.NewPCG(o.Seed, 0))
	common, own := math.Sqrt(o.Correlation), math.Sqrt(1-o.Correlation)
	var out [5][]float64
	for phase := range out {
		out[phase] = make([]float64, draws)
	}
	for d := range draws {
		shared := common * random.NormFloat64()
		for i, t := range times {
			minutes := t.At(shared + own*random.NormFloat64())
			out[steps[i].Phase][d] += minutes
			out[4][d] += minutes
		}
	}
	return out
}

// percentiles reads P50 and P80 off the samples, by the nearest rank.
func (e *Estimate) percentiles(samples []float64, setup float64) {
	slices.Sort(samples)
	at := func(p float64) float64 {
		return setup + samples[int(math.Ceil(p*float64(len(samples))))-1]
	}
	e.P50, e.P80 = at(0.5), at(0.8)
}

// setupByPhase charges a change of position, and each tool that was not in use in the step before,
// to the phase that it leads to.
func (e *Engine) setupByPhase(steps []Step) [4]float64 {
	var out [4]float64
	position := ""
	var tools []string
	for _, s := range steps {
		if s.Position != "" {
			if position != "" && position != s.Position {
				out[s.Phase] += e.model.Setup.PositionChange
			}
			position = s.Position
		}
		if len(s.Tools) > 0 {
			out[s.Phase] += e.model.Setup.ToolChange * float64(missing(s.Tools, tools))
			tools = s.Tools
		}
	}
	return out
}
