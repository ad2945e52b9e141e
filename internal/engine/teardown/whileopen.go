package teardown

import (
	"cmp"
	"errors"
	"slices"
)

// Candidate is work that nobody has asked for and that may be worth doing while the car is open.
type Candidate struct {
	Task Task
	// DueProbability that it will be needed anyway before the car would be opened again, from age,
	// mileage and rate.
	DueProbability float64
	// ComingBack is the customer's cost of a second visit, in minutes of labour.
	ComingBack float64
}

// Suggestion is a candidate with what it costs now and later, in expected minutes. Strip-down that
// the plan needs anyway is counted once.
type Suggestion struct {
	Candidate Candidate
	// Extra is what the plan grows by: further operations and states, and the task itself.
	Extra float64
	// Alone is what it would take on a visit of its own, from a closed car.
	Alone float64
	// Worth is DueProbability * (Alone + ComingBack) - Extra.
	Worth float64
}

// WhileOpen ranks what else may be done on top of the tasks, by falling worth; what is not worth
// its minutes, or cannot be reached at all, is left out. It is a suggestion for authorisation.
func (e *Engine) WhileOpen(start CarState, tasks []Task, candidates []Candidate, o Options) ([]Suggestion, error) {
	planned, err := e.Choose(start, tasks, o)
	if err != nil {
		return nil, err
	}
	var out []Suggestion
	for _, c := range candidates {
		s := Suggestion{Candidate: c}
		together, err := e.Choose(start, append(slices.Clone(tasks), c.Task), o)
		var alone Choice
		if err == nil {
			another := o
			another.Through = nil // what was chosen on this visit is no business of the next
			alone, err = e.Choose(CarState{}, []Task{c.Task}, another)
		}
		var impossible *ImpossibleError
		if errors.As(err, &impossible) {
			continue
		}
		if err != nil {
			return nil, err
		}
		s.Alone = alone.Minutes
		s.Extra = together.Minutes - planned.Minutes
		s.Worth = c.DueProbability*(s.Alone+c.ComingBack) - s.Extra
		if s.Worth > 0 {
			out = append(out, s)
		}
	}
	slices.SortStableFunc(out, func(a, b Suggestion) int { return cmp.Compare(b.Worth, a.Worth) })
	return out, nil
}

// Choice is which operations a way takes, in no order, and its expected minutes without set-up: a plan's
// skeleton, for a small part of a plan's price.
type Choice struct {
	Chosen  []string
	Minutes float64
}

// Choose is Plan without its order and its estimates.
func (e *Engine) Choose(start CarState, tasks []Task, o Options) (Choice, error) {
	now, err := e.stand(start)
	if err != nil {
		return Choice{}, err
	}
	chosen, solution, err := e.choose(now, tasks, o)
	if err != nil {
		return Choice{}, err
	}
	c := Choice{Minutes: solution.Cost}
	for _, o := range chosen {
		c.Chosen = append(c.Chosen, e.model.Operations[o].ID)
	}
	for _, t := range tasks {
		c.Minutes += t.Effort.Mean()
	}
	return c, nil
}

// Alternative is a plan under a name.
type Alternative struct {
	Name string
	Plan Plan
	// Risks are those of the short cuts that it takes.
	Risks []string
}

// Alternatives plans the cheapest way and, where it takes short cuts, the way by the book beside it.
// Where the book knows no way, only the first is given.
func (e *Engine) Alternatives(start CarState, tasks []Task, o Options) ([]Alternative, error) {
	cheapest, err := e.Plan(start, tasks, o)
	if err != nil {
		return nil, err
	}
	out := []Alternative{{Name: "least effort", Plan: cheapest, Risks: e.risks(cheapest)}}
	if !slices.ContainsFunc(cheapest.Chosen, func(id string) bool { return !e.model.Operations[e.operations[id]].ByTheBook }) {
		return out, nil
	}
	o.OnlyByTheBook = true
	book, err := e.Plan(start, tasks, o)
	var impossible *ImpossibleError
	if errors.As(err, &impossible) {
		return out, nil
	}
	if err != nil {
		return nil, err
	}
	return append(out, Alternative{Name: "by the book", Plan: book, Risks: e.risks(book)}), nil
}

func (e *Engine) risks(p Plan) []string {
	var out []string
	for _, id := range p.Chosen {
		if o := e.model.Operations[e.operations[id]]; o.Risk != "" {
			out = append(out, o.Title+": "+o.Risk)
		}
	}
	return out
}
