package diagnosis

import (
	"cmp"
	"math"
	"slices"
)

// Diagnose gives the exact posterior of every cause, with the observations that speak for and
// against it. Its error is an *InvalidError, an *ImpossibleError or a *TooLargeError.
func (e *Engine) Diagnose(ev Evidence) (Diagnosis, error) {
	b, m, err := e.posterior(ev)
	if err != nil {
		return Diagnosis{}, err
	}
	d := Diagnosis{Likelihood: m.total, None: b.alone(-1) / m.total}
	for i, c := range e.model.Causes {
		d.Single += b.alone(i) / m.total
		d.Causes = append(d.Causes, Ranked{Cause: c.ID, Title: c.Title, Probability: m.cause[i]})
	}
	if err := e.explain(ev, m.cause, d.Causes); err != nil {
		return Diagnosis{}, err
	}
	slices.SortStableFunc(d.Causes, func(a, b Ranked) int {
		return cmp.Or(cmp.Compare(b.Probability, a.Probability), cmp.Compare(a.Cause, b.Cause))
	})
	return d, nil
}

// posterior infers and reports evidence that cannot be.
func (e *Engine) posterior(ev Evidence) (*belief, marginals, error) {
	b, err := e.believe(ev)
	if err != nil {
		return nil, marginals{}, err
	}
	m, err := b.infer()
	if err != nil {
		return nil, marginals{}, err
	}
	if m.total == 0 {
		return nil, marginals{}, e.conflict(ev)
	}
	return b, m, nil
}

// negligible is the change of the logarithm of odds below which an observation says nothing about
// a cause.
const negligible = 1e-9

// explain takes each observation away in turn and compares the odds.
func (e *Engine) explain(ev Evidence, with []float64, ranked []Ranked) error {
	for k, o := range ev.Observations {
		less := ev
		less.Observations = slices.Delete(slices.Clone(ev.Observations), k, k+1)
		_, m, err := e.posterior(less)
		if err != nil {
			return err
		}
		for i := range ranked {
			f := odds(with[i]) / odds(m.cause[i])
			w := Weight{Of: o.Of, Title: e.signals[o.Of].title, Present: o.Present, Factor: f}
			switch log := math.Log(f); {
			case log > negligible:
				ranked[i].For = append(ranked[i].For, w)
			case log < -negligible:
				ranked[i].Against = append(ranked[i].Against, w)
			}
		}
	}
	for i := range ranked {
		slices.SortStableFunc(ranked[i].For, func(a, b Weight) int { return cmp.Compare(b.Factor, a.Factor) })
		slices.SortStableFunc(ranked[i].Against, func(a, b Weight) int { return cmp.Compare(a.Factor, b.Factor) })
	}
	return nil
}

func odds(p float64) float64 { return p / (1 - p) }
