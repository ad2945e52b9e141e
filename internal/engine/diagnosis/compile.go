package diagnosis

import (
	"fmt"
	"math"
)

// Engine is a checked model, ready to answer. It is immutable and may be shared.
type Engine struct {
	model    Model
	causes   map[string]int
	openings map[string]int
	signals  map[string]signal
}

// signal is what findings and tests have in common: a leaky noisy-OR.
type signal struct {
	title  string
	leak   float64
	effect []float64
	isTest bool
}

// New checks the model. Its error is an *InvalidError.
func New(model Model) (*Engine, error) {
	e := &Engine{
		model:    model,
		causes:   make(map[string]int, len(model.Causes)),
		openings: make(map[string]int, len(model.Openings)),
		signals:  make(map[string]signal, len(model.Findings)+len(model.Tests)),
	}
	for _, add := range []func() error{e.addOpenings, e.addCauses, e.addFindings, e.addTests} {
		if err := add(); err != nil {
			return nil, err
		}
	}
	if model.HandOverMinutes < 0 {
		return nil, &InvalidError{"handing over", "minutes are negative"}
	}
	return e, nil
}

func (e *Engine) addOpenings() error {
	for i, o := range e.model.Openings {
		where := fmt.Sprintf("opening %q", o.ID)
		if _, twice := e.openings[o.ID]; twice || o.ID == "" {
			return &InvalidError{where, "needs an ID of its own"}
		}
		if !duration(o.Minutes) {
			return &InvalidError{where, "minutes must be a number from 0"}
		}
		e.openings[o.ID] = i
	}
	for _, o := range e.model.Openings {
		seen := 0
		for at := o.Inside; at != ""; seen++ {
			i, known := e.openings[at]
			if !known {
				return &InvalidError{fmt.Sprintf("opening %q", o.ID), fmt.Sprintf("lies inside %q, which is unknown", at)}
			}
			if seen > len(e.openings) {
				return &InvalidError{fmt.Sprintf("opening %q", o.ID), "lies inside itself"}
			}
			at = e.model.Openings[i].Inside
		}
	}
	return nil
}

func (e *Engine) addCauses() error {
	for i, c := range e.model.Causes {
		where := fmt.Sprintf("cause %q", c.ID)
		if _, twice := e.causes[c.ID]; twice || c.ID == "" {
			return &InvalidError{where, "needs an ID of its own"}
		}
		if !(c.Prior > 0 && c.Prior < 1) {
			return &InvalidError{where, "prior must lie between 0 and 1"}
		}
		if err := e.checkAction(where, c.Repair.Minutes, c.Repair.Behind); err != nil {
			return err
		}
		e.causes[c.ID] = i
	}
	return nil
}

func (e *Engine) addFindings() error {
	for _, f := range e.model.Findings {
		where := fmt.Sprintf("finding %q", f.ID)
		if !(f.Leak >= 0 && f.Leak < 1) {
			return &InvalidError{where, "leak must be at least 0 and less than 1"}
		}
		effect, err := e.effects(where, f.Effects)
		if err != nil {
			return err
		}
		if err := e.addSignal(where, f.ID, signal{title: f.Title, leak: f.Leak, effect: effect}); err != nil {
			return err
		}
	}
	return nil
}

// addTests turns a sensitivity, which counts false positives in, into the probability with which
// the cause alone makes the test positive: 1 - (1-sensitivity)/(1-falsePositive).
func (e *Engine) addTests() error {
	for _, t := range e.model.Tests {
		where := fmt.Sprintf("test %q", t.ID)
		if !(t.FalsePositive >= 0 && t.FalsePositive < 1) {
			return &InvalidError{where, "false positives must be at least 0 and less than 1"}
		}
		if err := e.checkAction(where, t.Minutes, t.Behind); err != nil {
			return err
		}
		effect, err := e.effects(where, t.Positive)
		if err != nil {
			return err
		}
		for _, p := range t.Positive {
			if p.Probability < t.FalsePositive {
				return &InvalidError{where, fmt.Sprintf("is less often positive with cause %q than without any", p.Cause)}
			}
			i := e.causes[p.Cause]
			effect[i] = (p.Probability - t.FalsePositive) / (1 - t.FalsePositive)
		}
		if err := e.addSignal(where, t.ID, signal{t.Title, t.FalsePositive, effect, true}); err != nil {
			return err
		}
	}
	return nil
}

func (e *Engine) addSignal(where, id string, s signal) error {
	if _, twice := e.signals[id]; twice || id == "" {
		return &InvalidError{where, "needs an ID of its own among findings and tests"}
	}
	e.signals[id] = s
	return nil
}

func (e *Engine) checkAction(where string, minutes float64, behind string) error {
	if !duration(minutes) {
		return &InvalidError{where, "minutes must be a number from 0"}
	}
	if _, known := e.openings[behind]; !known && behind != "" {
		return &InvalidError{where, fmt.Sprintf("lies behind %q, which is unknown", behind)}
	}
	return nil
}

func (e *Engine) effects(where string, list []Effect) ([]float64, error) {
	effect := make([]float64, len(e.model.Causes))
	named := make(map[string]bool, len(list))
	for _, x := range list {
		i, known := e.causes[x.Cause]
		switch {
		case !known:
			return nil, &InvalidError{where, fmt.Sprintf("names cause %q, which is unknown", x.Cause)}
		case named[x.Cause]:
			return nil, &InvalidError{where, fmt.Sprintf("names cause %q twice", x.Cause)}
		case !(x.Probability >= 0 && x.Probability <= 1):
			return nil, &InvalidError{where, fmt.Sprintf("probability for cause %q must lie in [0, 1]", x.Cause)}
		}
		named[x.Cause] = true
		effect[i] = x.Probability
	}
	return effect, nil
}

func duration(minutes float64) bool { return minutes >= 0 && !math.IsInf(minutes, 0) }
