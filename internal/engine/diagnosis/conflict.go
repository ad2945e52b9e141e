package diagnosis

import (
	"fmt"
	"slices"
)

// conflict shrinks impossible evidence to a smallest core: every item is left out once, and stays
// out when the rest is still impossible.
func (e *Engine) conflict(ev Evidence) error {
	core := ev
	for k := len(core.Observations) - 1; k >= 0; k-- {
		less := core
		less.Observations = slices.Delete(slices.Clone(core.Observations), k, k+1)
		core = e.ifImpossible(less, core)
	}
	for k := len(core.Excluded) - 1; k >= 0; k-- {
		less := core
		less.Excluded = slices.Delete(slices.Clone(core.Excluded), k, k+1)
		core = e.ifImpossible(less, core)
	}
	for k := len(core.Confirmed) - 1; k >= 0; k-- {
		less := core
		less.Confirmed = slices.Delete(slices.Clone(core.Confirmed), k, k+1)
		core = e.ifImpossible(less, core)
	}
	out := &ImpossibleError{}
	for _, o := range core.Observations {
		out.Conflict = append(out.Conflict, e.describe(o))
	}
	for _, id := range core.Excluded {
		out.Conflict = append(out.Conflict, fmt.Sprintf("cause %s excluded", id))
	}
	for _, id := range core.Confirmed {
		out.Conflict = append(out.Conflict, fmt.Sprintf("cause %s confirmed", id))
	}
	return out
}

func (e *Engine) ifImpossible(less, otherwise Evidence) Evidence {
	b, err := e.believe(less)
	if err != nil {
		return otherwise
	}
	if m, err := b.infer(); err != nil || m.total > 0 {
		return otherwise
	}
	return less
}

func (e *Engine) describe(o Observation) string {
	words := [2]string{"absent", "present"}
	if e.signals[o.Of].isTest {
		words = [2]string{"negative", "positive"}
	}
	if o.Present {
		return fmt.Sprintf("%s %s", o.Of, words[1])
	}
	return fmt.Sprintf("%s %s", o.Of, words[0])
}
