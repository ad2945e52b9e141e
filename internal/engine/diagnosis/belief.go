package diagnosis

import "fmt"

// belief is evidence made ready for inference: a weight for each cause present and absent, the
// factors that tie causes together, and a constant.
type belief struct {
	present []float64
	absent  []float64
	factors []factor
	scale   float64
}

// believe folds pure products into the causes' weights and keeps the other factors.
func (e *Engine) believe(ev Evidence) (*belief, error) {
	b := &belief{scale: 1}
	for _, c := range e.model.Causes {
		b.present = append(b.present, c.Prior)
		b.absent = append(b.absent, 1-c.Prior)
	}
	seen := make(map[string]bool, len(ev.Observations))
	for _, o := range ev.Observations {
		s, known := e.signals[o.Of]
		where := fmt.Sprintf("observation of %q", o.Of)
		switch {
		case !known:
			return nil, &InvalidError{where, "is neither a finding nor a test of this model"}
		case seen[o.Of] && !s.isTest:
			return nil, &InvalidError{where, "is given twice; take one back"}
		case !(o.Weight >= 0 && o.Weight <= 1):
			return nil, &InvalidError{where, "weight must lie in (0, 1]"}
		}
		seen[o.Of] = true
		b.add(newFactor(s.leak, s.effect, o))
	}
	for _, id := range ev.Excluded {
		if err := e.pin(b.present, id); err != nil {
			return nil, err
		}
	}
	for _, id := range ev.Confirmed {
		if err := e.pin(b.absent, id); err != nil {
			return nil, err
		}
	}
	return b, nil
}

// pin gives the cause the weight 0 in one of the two lists.
func (e *Engine) pin(weights []float64, cause string) error {
	i, known := e.causes[cause]
	if !known {
		return &InvalidError{fmt.Sprintf("cause %q", cause), "is not in this model"}
	}
	weights[i] = 0
	return nil
}

func (b *belief) add(f factor) {
	if !f.pure() {
		b.factors = append(b.factors, f)
		return
	}
	b.scale *= f.open
	for i, p := range f.effect {
		b.present[i] *= 1 - p
	}
}

// alone is the weight of the world in which only the given cause is present; none if negative.
func (b *belief) alone(cause int) float64 {
	w := b.scale
	for i := range b.absent {
		if i == cause {
			w *= b.present[i]
		} else {
			w *= b.absent[i]
		}
	}
	for k := range b.factors {
		w *= b.factors[k].alone(cause)
	}
	return w
}
