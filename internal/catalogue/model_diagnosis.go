package catalogue

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"ramprow/internal/engine/diagnosis"
	"ramprow/internal/engine/teardown"
	pb "ramprow/proto/ramprow/catalogue/v1"
)

// maxPrior keeps a prior a probability when mileage multiplies it.
const maxPrior = 0.95

// Diagnosis is the car as the diagnosis engine sees it, with what is needed to
// tell it which openings are open.
type Diagnosis struct {
	Model diagnosis.Model
	// Needs gives for each opening the pieces that must be off or reached.
	Needs map[string][]string
}

// Opened lists the openings that are open when these pieces are off or reached.
func (d Diagnosis) Opened(open map[string]bool) []string {
	var opened []string
	for _, opening := range d.Model.Openings {
		shut := func(id string) bool { return !open[id] }
		if !slices.ContainsFunc(d.Needs[opening.ID], shut) {
			opened = append(opened, opening.ID)
		}
	}
	return opened
}

// DiagnosisModel gives what is known of the faults of a car with this mileage in
// kilometres. Every set of pieces that a test or a repair needs open is an
// opening; its minutes, there and back, are those of the cheapest teardown. An
// opening lies inside the largest other one whose operations it contains, and
// costs what it takes beyond that. The error is of the teardown engine.
func (c *Catalogue) DiagnosisModel(facts Facts, kilometres float64) (Diagnosis, error) {
	made := Diagnosis{Needs: map[string][]string{}}
	possible := map[string]bool{}
	for _, cause := range c.message.GetCauses() {
		if facts.Holds(cause.GetWhen()) == No {
			continue
		}
		possible[cause.GetId()] = true
		made.Model.Causes = append(made.Model.Causes, c.diagnosisCause(cause, facts, kilometres, made.Needs))
	}
	made.Model.Findings = c.findings(possible)
	for _, test := range c.message.GetTests() {
		positive := effectsOn(test.GetPositive(), possible)
		if len(positive) == 0 {
			continue
		}
		made.Model.Tests = append(made.Model.Tests, diagnosis.Test{
			ID: test.GetId(), Title: test.GetTitle(), Minutes: threePoint(test.GetEffort()).Mean(),
			Positive: positive, FalsePositive: test.GetFalsePositive(),
			Behind: c.opening(test.GetNeedsOpen(), facts, made.Needs),
		})
	}
	var err error
	made.Model.Openings, err = c.openings(facts, made.Needs)
	return made, err
}

func (c *Catalogue) diagnosisCause(cause *pb.Cause, facts Facts, kilometres float64, needs map[string][]string) diagnosis.Cause {
	prior := cause.GetPrior() * facts.Chance(cause.GetWhen()) * mileageFactor(cause.GetByMileage(), kilometres)
	repair := cause.GetRepair()
	return diagnosis.Cause{
		ID: cause.GetId(), Title: cause.GetTitle(), Prior: min(maxPrior, prior),
		Repair: diagnosis.Repair{
			Title: repair.GetTitle(), Minutes: threePoint(repair.GetEffort()).Mean(),
			CostMinorUnits: c.partsPrice(repair.GetParts(), facts),
			Behind:         c.opening(repair.GetTargets(), facts, needs),
		},
	}
}

// mileageFactor gives the factor of the highest mileage that is reached; 1 below
// them all.
func mileageFactor(factors []*pb.MileageFactor, kilometres float64) float64 {
	factor, from := 1.0, -1.0
	for _, f := range factors {
		if f.GetFromKm() <= kilometres && f.GetFromKm() > from {
			factor, from = f.GetFactor(), f.GetFromKm()
		}
	}
	return factor
}

// partsPrice sums up parts in minor units; while a design is open, alternatives
// count by their chance.
func (c *Catalogue) partsPrice(uses []*pb.PartUse, facts Facts) int64 {
	sum := 0.0
	for _, use := range uses {
		part := c.parts[use.GetPart()]
		lot := float64(max(1, part.GetPriceQuantity()))
		sum += facts.Chance(use.GetWhen()) * float64(part.GetPriceMinorUnits()) * float64(use.GetQuantity()) / lot
	}
	return int64(math.Round(sum))
}

// findings turns the causes' effects round: by code and symptom.
func (c *Catalogue) findings(possible map[string]bool) []diagnosis.Finding {
	effects := map[string][]diagnosis.Effect{}
	for _, cause := range c.message.GetCauses() {
		if !possible[cause.GetId()] {
			continue
		}
		for _, e := range slices.Concat(cause.GetCodes(), cause.GetSymptoms()) {
			effects[e.GetOf()] = append(effects[e.GetOf()], diagnosis.Effect{Cause: cause.GetId(), Probability: e.GetProbability()})
		}
	}
	var findings []diagnosis.Finding
	for _, code := range c.message.GetCodes() {
		findings = append(findings, diagnosis.Finding{
			ID: code.GetCode(), Title: code.GetTitle(), Kind: diagnosis.Code,
			Leak: code.GetLeak(), Effects: effects[code.GetCode()],
		})
	}
	for _, symptom := range c.message.GetSymptoms() {
		findings = append(findings, diagnosis.Finding{
			ID: symptom.GetId(), Title: symptom.GetTitle(), Kind: diagnosis.Symptom,
			Leak: symptom.GetLeak(), Effects: effects[symptom.GetId()],
		})
	}
	return findings
}

func effectsOn(effects []*pb.Effect, possible map[string]bool) []diagnosis.Effect {
	var kept []diagnosis.Effect
	for _, e := range effects {
		if possible[e.GetOf()] {
			kept = append(kept, diagnosis.Effect{Cause: e.GetOf(), Probability: e.GetProbability()})
		}
	}
	return kept
}

// opening names the opening that a set of pieces makes, and notes its needs;
// empty for work from outside.
func (c *Catalogue) opening(pieces []string, facts Facts, needs map[string][]string) string {
	pieces = c.onCar(pieces, facts)
	if len(pieces) == 0 {
		return ""
	}
	slices.Sort(pieces)
	id := strings.Join(pieces, "+")
	needs[id] = pieces
	return id
}

// opened is an opening with its teardown.
type opened struct {
	id         string
	operations map[string]bool
	minutes    float64
}

// openings plans each opening by itself and nests them.
func (c *Catalogue) openings(facts Facts, needs map[string][]string) ([]diagnosis.Opening, error) {
	engine, err := teardown.New(c.TeardownModel(facts))
	if err != nil {
		return nil, fmt.Errorf("teardown of %s: %w", c.version, err)
	}
	var all []opened
	for id, pieces := range needs {
		task := teardown.Task{ID: id, Kind: teardown.Inspection, Targets: pieces}
		plan, err := engine.Plan(teardown.CarState{}, []teardown.Task{task}, teardown.Options{MeansOnly: true})
		if err != nil {
			return nil, fmt.Errorf("opening %s: %w", id, err)
		}
		operations := map[string]bool{}
		for _, operation := range plan.Chosen {
			operations[operation] = true
		}
		all = append(all, opened{id: id, operations: operations, minutes: plan.Cost + plan.SetupMinutes})
	}
	// Outer ones first; equal sets in the order of their names, so that of two
	// equal ones the later lies inside the earlier and costs nothing.
	slices.SortFunc(all, func(a, b opened) int {
		return cmp.Or(cmp.Compare(len(a.operations), len(b.operations)), cmp.Compare(a.id, b.id))
	})
	made := make([]diagnosis.Opening, len(all))
	for i, o := range all {
		made[i] = diagnosis.Opening{ID: o.id, Title: c.titles(needs[o.id]), Minutes: o.minutes}
		if outer, ok := enclosing(o, all[:i]); ok {
			made[i].Inside = outer.id
			made[i].Minutes = max(0, o.minutes-outer.minutes)
		}
	}
	return made, nil
}

// enclosing finds the opening with the most operations among those that are done
// on the way to this one anyway.
func enclosing(o opened, smaller []opened) (opened, bool) {
	for _, outer := range slices.Backward(smaller) {
		within := true
		for operation := range outer.operations {
			within = within && o.operations[operation]
		}
		if within {
			return outer, true
		}
	}
	return opened{}, false
}

func (c *Catalogue) titles(pieces []string) string {
	titles := make([]string, len(pieces))
	for i, id := range pieces {
		titles[i] = c.pieces[id].GetTitle()
	}
	return strings.Join(titles, ", ")
}
