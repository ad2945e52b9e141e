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
	var mean [4]float64
	times := make([]effort.LogNormal, len(p.Steps))
	for i, s := range p.Steps {
		times[i] = s.Effort.LogNormal()
		mean[s.Phase] += s.Effort.Mean()
	}
	draws := o.Draws
	if draws <= 0 {
		draws = DefaultDraws
	}
	samples := sample(p.Steps, times, draws, o)
	var whole [4]float64
	for phase := range whole {
		p.SetupMinutes += setup[phase]
		p.ByPhase[phase] = quantiles(samples[phase], setup[phase], mean[phase])
		p.Total.Mean += mean[phase] + setup[phase]
	}
	p.Total = quantiles(samples[len(whole)], p.SetupMinutes, p.Total.Mean-p.SetupMinutes)
}

// sample draws the duration of each phase and, last, of the whole.
func sample(steps []Step, times []effort.LogNormal, draws int, o Options) [5][]float64 {
	random := rand.New(rand.NewPCG(o.Seed, o.Seed^0x9e3779b97f4a7c15)) //nolint:gosec // repeatable draws, not secrets
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

func quantiles(samples []float64, setup, mean float64) Estimate {
	slices.Sort(samples)
	at := func(p float64) float64 {
		return setup + samples[int(math.Ceil(p*float64(len(samples))))-1]
	}
	return Estimate{Mean: setup + mean, P50: at(0.5), P80: at(0.8)}
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
