package diagnosis

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Limits of looking ahead.
const (
	// maxSuspects is how many suspects are told apart; the rest are less likely than each of them.
	maxSuspects = 15
	// DefaultLooks bounds the states that Next judges.
	DefaultLooks = 40_000
)

// Next ranks what can be done next by expected minutes to a verified repair, given that one fault
// is present. It looks ahead deeper and deeper until the optimum is proved or DefaultLooks states
// were judged; the advice carries the bounds that it got to. Its error is that of Diagnose.
func (e *Engine) Next(ev Evidence) (Advice, error) { return e.NextWithin(ev, DefaultLooks) }

// NextWithin is Next with another limit, which is best for comparing how much patience buys.
func (e *Engine) NextWithin(ev Evidence, looks int) (Advice, error) {
	b, m, err := e.posterior(ev)
	if err != nil {
		return Advice{}, err
	}
	v := e.view(b, m, ev)
	if len(v.suspects) == 0 {
		return Advice{StopTesting: true, Exact: true, Reason: "no known cause is left to look for"}, nil
	}
	v.looks = looks
	return v.advise(), nil
}

// view is a planner with what is needed to speak of it.
type view struct {
	*planner
	engine   *Engine
	suspects []int // cause by suspect
	tests    []int // model test by planner test
	belief   []float64
	start    state
}

// view weighs each suspect by the world in which it alone is present. Where the evidence needs
// more than one fault, the posterior probabilities are taken instead, as if they excluded one
// another.
func (e *Engine) view(b *belief, m marginals, ev Evidence) *view {
	v := &view{engine: e, planner: &planner{handOver: e.model.HandOverMinutes}}
	weights := make([]float64, len(e.model.Causes))
	total := 0.0
	for i := range weights {
		weights[i] = b.alone(i)
		total += weights[i]
	}
	if total == 0 {
		copy(weights, m.cause)
		for _, w := range weights {
			total += w
		}
	}
	for i, w := range weights {
		if w > 0 {
			v.suspects = append(v.suspects, i)
			weights[i] = w / total
		}
	}
	slices.SortStableFunc(v.suspects, func(i, j int) int { return cmp.Compare(weights[j], weights[i]) })
	v.suspects = v.suspects[:min(len(v.suspects), maxSuspects)]
	for _, i := range v.suspects {
		v.belief = append(v.belief, weights[i])
		v.repairs = append(v.repairs, e.access(e.model.Causes[i].Repair.Minutes, e.model.Causes[i].Repair.Behind))
	}
	v.start.left = 1<<len(v.suspects) - 1
	for _, o := range e.model.Openings {
		v.openings = append(v.openings, e.access(o.Minutes, o.Inside))
	}
	v.nest()
	v.offerTests(ev)
	for _, id := range ev.Opened {
		v.start = v.open(v.start, e.opening(id))
	}
	return v
}

// offerTests leaves out tests that were done: a result is not made surer by seeing it again.
func (v *view) offerTests(ev Evidence) {
	done := map[string]bool{}
	for _, o := range ev.Observations {
		done[o.Of] = true
	}
	for i, t := range v.engine.model.Tests {
		if done[t.ID] || len(v.tests) == 64 {
			continue
		}
		s := v.engine.signals[t.ID]
		p := probe{access: v.engine.access(t.Minutes, t.Behind), certain: true}
		for _, c := range v.suspects {
			positive := s.leak + (1-s.leak)*s.effect[c]
			p.positive = append(p.positive, positive)
			p.certain = p.certain && (positive == 0 || positive == 1)
		}
		v.planner.tests = append(v.planner.tests, p)
		v.tests = append(v.tests, i)
	}
}

func (e *Engine) access(minutes float64, behind string) access {
	return access{minutes: minutes, behind: e.opening(behind)}
}

func (e *Engine) opening(id string) int {
	if i, known := e.openings[id]; known {
		return i
	}
	return -1
}

// outlook is a first action with its bounds.
type outlook struct {
	candidate
	bounds
}

// deepen looks ahead one action more at a time while looks last, and keeps the last whole answer;
// the first is always whole.
func (v *view) deepen() (outlooks []outlook, all bounds) {
	patience := v.looks
	for depth := 1; ; depth++ {
		if depth == 1 {
			v.looks = math.MaxInt
		}
		v.seen = map[position]bounds{}
		none := math.Inf(1) // every first action is offered, good or bad
		var found []outlook
		v.actions(v.belief, v.start, depth, &none, func(c candidate, b bounds) {
			found = append(found, outlook{c, b})
		})
		if v.looks <= 0 {
			return outlooks, all
		}
		if depth == 1 {
			v.looks = patience
		}
		outlooks, all = found, bounds{math.Inf(1), math.Inf(1)}
		done := true
		for _, o := range found {
			all.low, all.high = min(all.low, o.low), min(all.high, o.high)
			done = done && o.exact()
		}
		if v.handOver > 0 {
			all.low, all.high = min(all.low, v.handOver), min(all.high, v.handOver)
		}
		if done {
			return outlooks, all
		}
	}
}

func (v *view) advise() Advice {
	outlooks, all := v.deepen()
	a := Advice{ExpectedMinutes: all.high, ExpectedAtLeast: all.low, Exact: all.exact(), StopTesting: true}
	for _, o := range outlooks {
		a.Actions = append(a.Actions, v.action(o))
	}
	a.Actions = append(a.Actions, v.openingActions(a.Actions)...)
	if v.handOver > 0 {
		a.Actions = append(a.Actions, Action{
			Kind: ActHandOver, Title: "Hand over", Minutes: v.handOver, ExpectedMinutes: v.handOver,
			ExpectedAtLeast: v.handOver, Success: 1,
		})
	}
	slices.SortStableFunc(a.Actions, func(x, y Action) int {
		return cmp.Or(cmp.Compare(rounded(x.ExpectedMinutes), rounded(y.ExpectedMinutes)), cmp.Compare(x.Minutes, y.Minutes))
	})
	untested := v.repairOnly(v.belief, v.start)
	for i := range a.Actions {
		x := &a.Actions[i]
		x.Reason = v.reason(*x, untested)
		if x.Kind == ActTest && x.ExpectedMinutes < untested-1e-9 {
			a.StopTesting = false
		}
	}
	if len(a.Actions) > 0 {
		a.Reason = a.Actions[0].Reason
	}
	return a
}

// rounded makes equals of what differs by rounding only, so that their order is the model's.
func rounded(minutes float64) float64 { return math.Round(minutes * 1e6) }

func (v *view) action(o outlook) Action {
	a := Action{Kind: o.kind, ExpectedMinutes: o.high, ExpectedAtLeast: o.low}
	var behind int
	if o.kind == ActRepair {
		c := v.engine.model.Causes[v.suspects[o.index]]
		a.ID, a.Title, a.Minutes = c.ID, c.Repair.Title, c.Repair.Minutes
		a.Success = v.belief[o.index]
		behind = v.repairs[o.index].behind
	} else {
		t := v.engine.model.Tests[v.tests[o.index]]
		a.ID, a.Title, a.Minutes = t.ID, t.Title, t.Minutes
		for c, w := range v.belief {
			a.Positive += w * v.planner.tests[o.index].positive[c]
		}
		behind = v.planner.tests[o.index].behind
	}
	a.OpenMinutes = v.openCost(behind, v.start)
	for at := v.closed(behind, v.start); at >= 0; at = v.closed(v.openings[at].behind, v.start) {
		a.Opens = append([]string{v.engine.model.Openings[at].ID}, a.Opens...)
	}
	return a
}

// openingActions offers each opening that can be opened now as an action of its own, worth what
// the best action behind it is worth.
func (v *view) openingActions(actions []Action) []Action {
	best := map[string]Action{}
	var order []string
	for _, a := range actions {
		if len(a.Opens) == 0 {
			continue
		}
		first := a.Opens[0]
		known, yes := best[first]
		if !yes {
			order = append(order, first)
		}
		if !yes || a.ExpectedMinutes < known.ExpectedMinutes {
			best[first] = a
		}
	}
	var out []Action
	for _, id := range order {
		o := v.engine.model.Openings[v.engine.openings[id]]
		out = append(out, Action{
			Kind: ActOpen, ID: o.ID, Title: o.Title, Minutes: o.Minutes,
			ExpectedMinutes: best[id].ExpectedMinutes, ExpectedAtLeast: best[id].ExpectedAtLeast,
		})
	}
	return out
}

// reason says in one sentence what the action is good for.
func (v *view) reason(a Action, untested float64) string {
	cost := fmt.Sprintf("%.0f min", a.Minutes)
	if a.OpenMinutes > 0 {
		cost += fmt.Sprintf(" and %.0f min to open and close", a.OpenMinutes)
	}
	outlook := fmt.Sprintf("then %.0f min expected to a verified repair", a.ExpectedMinutes)
	switch a.Kind {
	case ActTest:
		if a.ExpectedMinutes >= untested {
			return fmt.Sprintf("%s; %s; costs more than it saves: repairing in order takes %.0f min", v.separates(a.ID), cost, untested)
		}
		return fmt.Sprintf("%s; %s; %s, %.0f min without any test", v.separates(a.ID), cost, outlook, untested)
	case ActRepair:
		return fmt.Sprintf("mends it with %.0f %%; %s; %s", 100*a.Success, cost, outlook)
	case ActOpen:
		return fmt.Sprintf("gives access to %s; %s; %s", v.behind(a.ID), cost, outlook)
	case ActHandOver:
		return fmt.Sprintf("whoever takes it over mends it surely; %s", cost)
	}
	return ""
}

// separates names the likeliest suspect that the test speaks for and the likeliest that it clears.
func (v *view) separates(test string) string {
	s := v.engine.signals[test]
	positive, negative := -1, -1
	for c, cause := range v.suspects {
		if s.effect[cause] >= 0.5 && positive < 0 {
			positive = c
		} else if s.effect[cause] < 0.5 && negative < 0 {
			negative = c
		}
	}
	title := func(c int) string { return v.engine.model.Causes[v.suspects[c]].Title }
	switch {
	case positive >= 0 && negative >= 0:
		return fmt.Sprintf("separates %s from %s", title(positive), title(negative))
	case positive >= 0:
		return "speaks for " + title(positive)
	default:
		return "tells little apart"
	}
}

// behind names the tests and repairs to which an opening gives access.
func (v *view) behind(opening string) string {
	n := 0
	first := ""
	note := func(at, title string) {
		if at == opening {
			if n++; first == "" {
				first = title
			}
		}
	}
	for i := range v.tests {
		t := v.engine.model.Tests[v.tests[i]]
		note(t.Behind, t.Title)
	}
	for _, c := range v.suspects {
		r := v.engine.model.Causes[c].Repair
		note(r.Behind, r.Title)
	}
	switch n {
	case 0:
		return "what lies further in"
	case 1:
		return first
	default:
		return fmt.Sprintf("%s and %d more", first, n-1)
	}
}
