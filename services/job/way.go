package job

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/catalogue"
	"ramprow/internal/engine/teardown"
	"ramprow/internal/platform/fault"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// Names of ways, for people.
const (
	leastEffort = "least effort"
	byTheBook   = "by the book"
)

// way is how a plan goes to its causes. What is known of the car (delays, operations that cannot
// be done) holds on; what was merely chosen to be gone through ends with the causes it was chosen for.
func (j *Job) way(causes []string) *jobv1.Way {
	before := j.Plan.GetWay()
	if before == nil {
		return &jobv1.Way{}
	}
	w := proto.CloneOf(before)
	if !slices.Equal(causes, j.Causes) {
		w.Through, w.Name = nil, ""
	}
	return w
}

// asked is the way of a request on top of what is known of the car; without a request, the job's own.
func (j *Job) asked(causes []string, wanted *jobv1.Way) *jobv1.Way {
	w := j.way(causes)
	if wanted == nil {
		return w
	}
	w.Name, w.Through, w.ByTheBook = wanted.GetName(), slices.Clone(wanted.GetThrough()), wanted.GetByTheBook()
	for _, id := range wanted.GetWithout() {
		if !slices.Contains(w.GetWithout(), id) {
			w.Without = append(w.Without, id)
		}
	}
	w.Through = slices.DeleteFunc(w.GetThrough(), func(id string) bool { return slices.Contains(w.GetWithout(), id) })
	return w
}

// wayFits refuses operations that the catalogue or this car does not have.
func (p *planner) wayFits() error {
	model := p.model()
	for field, ids := range map[string][]string{"through": p.way.GetThrough(), "without": p.way.GetWithout()} {
		for _, id := range ids {
			if p.catalogue.Operation(id) == nil {
				return unknown("operation", id, p.catalogue)
			}
			if field == "through" && !hasOperation(model, id) {
				return fault.New(fault.Invalid, "OPERATION_NOT_ON_CAR", "%s cannot be done: this car is not built so", p.catalogue.Operation(id).GetTitle()).
					WithField("way."+field, "%s is impossible on this car", id)
			}
		}
	}
	return nil
}

func hasOperation(m teardown.Model, id string) bool {
	return slices.ContainsFunc(m.Operations, func(o teardown.Operation) bool { return o.ID == id })
}

// model is the car with what is known to take longer on it.
func (p *planner) model() teardown.Model {
	m := p.catalogue.TeardownModel(p.facts)
	for i, o := range m.Operations {
		for _, d := range p.way.GetDelays() {
			if d.GetOperation() == o.ID {
				extra := d.GetExtra().AsDuration().Minutes()
				o.Effort.Optimistic += extra
				o.Effort.Likely += extra
				o.Effort.Pessimistic += extra
			}
		}
		m.Operations[i] = o
	}
	return m
}

// options are what the engine is asked for with this way. What is done already need not be insisted
// upon, and is not left out: it is to be put back.
func (p *planner) options(m teardown.Model) teardown.Options {
	o := teardown.Options{Seed: p.job.Number, Correlation: effortCorrelation, OnlyByTheBook: p.way.GetByTheBook()}
	for _, id := range p.way.GetThrough() {
		if !slices.Contains(p.job.Car.Off, id) {
			o.Through = append(o.Through, id)
		}
	}
	for _, id := range p.way.GetWithout() {
		if hasOperation(m, id) && !slices.Contains(p.job.Car.Off, id) {
			o.Without = append(o.Without, id)
		}
	}
	return o
}

// wayOf is the way as the plan keeps it; nil for the one of least effort, which needs no words.
func wayOf(w *jobv1.Way, c *catalogue.Catalogue) *jobv1.Way {
	plain := len(w.GetThrough())+len(w.GetWithout())+len(w.GetDelays()) == 0 && !w.GetByTheBook()
	if plain {
		return nil
	}
	w = proto.CloneOf(w)
	if w.GetName() == "" {
		w.Name = wayName(w, c)
	}
	return w
}

func wayName(w *jobv1.Way, c *catalogue.Catalogue) string {
	var words []string
	if w.GetByTheBook() {
		words = append(words, byTheBook)
	}
	if list := operationTitles(c, w.GetThrough()); list != "" {
		words = append(words, "by "+list)
	}
	if list := operationTitles(c, w.GetWithout()); list != "" {
		words = append(words, "without "+list)
	}
	if len(words) == 0 {
		return leastEffort
	}
	name := strings.Join(words, ", ")
	return name[:min(len(name), maxWayName)]
}

// maxWayName is what the proto allows.
const maxWayName = 200

// manyOperations is how many are named; more is read by nobody.
const manyOperations = 3

func operationTitles(c *catalogue.Catalogue, ids []string) string {
	var titles []string
	for _, id := range ids {
		titles = append(titles, "'"+orElse(c.Operation(id).GetTitle(), id)+"'")
	}
	if len(titles) > manyOperations {
		titles = append(titles[:manyOperations], fmt.Sprintf("%d more", len(ids)-manyOperations))
	}
	return strings.Join(titles, ", ")
}

// difference says how two times compare, as in 25 min more.
func difference(d time.Duration) string {
	if d < 0 {
		return about(-d) + " less"
	}
	return about(d) + " more"
}
