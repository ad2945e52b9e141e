package job

import (
	"cmp"
	"slices"
	"strings"

	"google.golang.org/protobuf/types/known/durationpb"

	"ramprow/internal/catalogue"
	"ramprow/internal/engine/teardown"
	"ramprow/internal/platform/fault"
	commonv1 "ramprow/proto/ramprow/common/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// Bounds of a comparison: ways that are tried, and ways that are shown.
const (
	maxDetours = 4
	maxWays    = 5
)

// otherWays are ways to the same work beside the engine's answer: by the book where it takes a short cut, and around
// each of its operations that has a rival, the dearest first.
func (p *planner) otherWays(m teardown.Model, chosen []string) []*jobv1.Way {
	var ways []*jobv1.Way
	operation := func(id string) teardown.Operation {
		return m.Operations[slices.IndexFunc(m.Operations, func(o teardown.Operation) bool { return o.ID == id })]
	}
	if slices.ContainsFunc(chosen, func(id string) bool { return !operation(id).ByTheBook }) {
		ways = append(ways, &jobv1.Way{Name: byTheBook, ByTheBook: true})
	}
	rivalled := slices.DeleteFunc(slices.Clone(chosen), func(id string) bool { return !rivalled(m, operation(id)) })
	slices.SortStableFunc(rivalled, func(a, b string) int {
		return cmp.Compare(operation(b).Effort.Mean()+operation(b).Refit.Mean(), operation(a).Effort.Mean()+operation(a).Refit.Mean())
	})
	for _, id := range rivalled[:min(len(rivalled), maxDetours)] {
		ways = append(ways, &jobv1.Way{Without: []string{id}})
	}
	return ways
}

// rivalled reports whether another operation opens what this one opens.
func rivalled(m teardown.Model, o teardown.Operation) bool {
	opens := slices.Concat(o.TakesOff, o.Reaches)
	return slices.ContainsFunc(m.Operations, func(other teardown.Operation) bool {
		return other.ID != o.ID && slices.ContainsFunc(slices.Concat(other.TakesOff, other.Reaches), func(id string) bool {
			return slices.Contains(opens, id)
		})
	})
}

// reject notes why other ways were left aside: what they do instead, and what that costs in expected minutes.
func (p *planner) reject(answer teardown.Plan) error {
	ways := p.otherWays(p.car, answer.Chosen)
	if len(ways) == 0 {
		return nil
	}
	start := p.start(p.car)
	own, err := p.engine.Choose(start, p.todo, p.options(p.car))
	if err != nil {
		return planRefused(err)
	}
	seen := map[string]bool{setOf(answer.Chosen): true}
	for _, w := range ways {
		o := p.options(p.car)
		o.OnlyByTheBook = o.OnlyByTheBook || w.GetByTheBook()
		o.Without = append(o.Without, w.GetWithout()...)
		other, err := p.engine.Choose(start, p.todo, o)
		if err != nil || seen[setOf(other.Chosen)] || len(p.plan.GetRejected()) == maxWays {
			continue // there is no such way, or it was told
		}
		seen[setOf(other.Chosen)] = true
		text := operationTitles(p.catalogue, missingIn(answer.Chosen, other.Chosen))
		if spared := operationTitles(p.catalogue, missingIn(other.Chosen, answer.Chosen)); spared != "" {
			text += " instead of " + spared
		}
		p.plan.Rejected = append(p.plan.Rejected, strings.TrimSpace(text+": "+difference(minutes(other.Minutes-own.Minutes).AsDuration())))
	}
	return nil
}

// setOf is equal for the same operations in any order.
func setOf(ids []string) string { return strings.Join(slices.Sorted(slices.Values(ids)), " ") }

// missingIn lists what the second has and the first has not.
func missingIn(first, second []string) []string {
	return slices.DeleteFunc(slices.Clone(second), func(id string) bool { return slices.Contains(first, id) })
}

// compare plans the same work by every way worth a look, the quickest first.
func compare(j *Job, c *catalogue.Catalogue, causes []string) ([]*jobv1.PlanAlternative, error) {
	base := j.way(causes)
	base.Through, base.ByTheBook, base.Name = nil, false, ""
	p, answer, err := planBy(j, c, causes, base)
	if err != nil {
		return nil, err
	}
	list := []*jobv1.PlanAlternative{alternative(&jobv1.Way{Name: leastEffort}, p)}
	seen := map[string]bool{setOf(answer.Chosen): true}
	ways := p.otherWays(p.car, answer.Chosen)
	if now := j.way(causes); len(now.GetThrough()) > 0 {
		ways = append(ways, now)
	}
	for _, w := range ways {
		other, theirs, err := planBy(j, c, causes, merged(base, w))
		if impossible(err) {
			continue
		}
		if err != nil {
			return nil, err
		}
		if seen[setOf(theirs.Chosen)] {
			continue
		}
		seen[setOf(theirs.Chosen)] = true
		a := alternative(w, other)
		a.OtherWork = operationIDs(missingIn(answer.Chosen, theirs.Chosen))
		a.SparedWork = operationIDs(missingIn(theirs.Chosen, answer.Chosen))
		if w.GetName() == "" {
			w.Name = wayName(&jobv1.Way{Through: a.GetOtherWork()}, c)
		}
		list = append(list, a)
	}
	slices.SortStableFunc(list, func(a, b *jobv1.PlanAlternative) int {
		return cmp.Compare(a.GetPlan().GetEffort().GetP50().AsDuration(), b.GetPlan().GetEffort().GetP50().AsDuration())
	})
	list = list[:min(len(list), maxWays)]
	for _, a := range list {
		a.More = durationpb.New(a.GetPlan().GetEffort().GetP50().AsDuration() - list[0].GetPlan().GetEffort().GetP50().AsDuration())
	}
	return list, nil
}

func operationIDs(ids []string) []string { return slices.Sorted(slices.Values(ids)) }

func impossible(err error) bool { return fault.ReasonOf(err) == "PLAN_IMPOSSIBLE" }

func merged(base, w *jobv1.Way) *jobv1.Way {
	return &jobv1.Way{
		Name: w.GetName(), Through: w.GetThrough(), ByTheBook: w.GetByTheBook(), Delays: base.GetDelays(),
		Without: slices.Concat(base.GetWithout(), w.GetWithout()),
	}
}

func alternative(w *jobv1.Way, p *planner) *jobv1.PlanAlternative {
	a := &jobv1.PlanAlternative{Way: w, Plan: p.plan, Price: &commonv1.Money{
		MinorUnits:   p.plan.GetLabourEstimate().GetMinorUnits() + p.plan.GetPartsEstimate().GetMinorUnits(),
		CurrencyCode: p.plan.GetLabourEstimate().GetCurrencyCode(),
	}}
	for _, s := range p.plan.GetSteps() {
		if s.GetRisk() != "" && !slices.Contains(a.GetRisks(), s.GetRisk()) {
			a.Risks = append(a.Risks, s.GetTitle()+": "+s.GetRisk())
		}
	}
	return a
}
