package job

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	"ramprow/internal/catalogue"
	"ramprow/internal/engine/teardown"
	"ramprow/internal/engine/teardown/effort"
	"ramprow/internal/platform/fault"
	commonv1 "ramprow/proto/ramprow/common/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// planner turns the engine's answer for one car into the plan that others act on.
type planner struct {
	catalogue *catalogue.Catalogue
	facts     catalogue.Facts
	job       *Job
	causes    []string
	way       *jobv1.Way
	// What the engine was asked for.
	engine *teardown.Engine
	car    teardown.Model
	todo   []teardown.Task
	plan   *jobv1.Plan
	// ids are the step ids that are taken, with how often.
	ids map[string]int
}

func newPlanner(j *Job, c *catalogue.Catalogue, causes []string) (*planner, error) {
	facts, err := c.Facts(j.Vehicle.GetFeatures(), clock(j.Vehicle.GetBuilt()))
	if err != nil {
		return nil, err
	}
	return &planner{catalogue: c, facts: facts, job: j, causes: causes, way: j.way(causes), ids: map[string]int{}}, nil
}

// planFor plans the repair of causes from the car as it stands, by the way that the job goes. Steps that are
// done stay in the plan, so it is whole. Pure: the engine's seed is the job's number.
func planFor(j *Job, c *catalogue.Catalogue, causes []string) (*jobv1.Plan, error) {
	return planThrough(j, c, causes, j.way(causes))
}

// planThrough is planFor by a way, with the ways that were left aside.
func planThrough(j *Job, c *catalogue.Catalogue, causes []string, w *jobv1.Way) (*jobv1.Plan, error) {
	p, answer, err := planBy(j, c, causes, w)
	if err != nil {
		return nil, err
	}
	return p.plan, p.reject(answer)
}

// planBy plans by one way and keeps the engine's own answer beside the plan.
func planBy(j *Job, c *catalogue.Catalogue, causes []string, w *jobv1.Way) (*planner, teardown.Plan, error) {
	p, err := newPlanner(j, c, causes)
	if err != nil {
		return nil, teardown.Plan{}, err
	}
	p.way = w
	answer, err := p.ask()
	if err != nil {
		return nil, teardown.Plan{}, err
	}
	p.plan = &jobv1.Plan{
		Revision:         j.Plan.GetRevision() + 1,
		CatalogueVersion: c.Version(),
		Causes:           slices.Clone(causes),
		Notice:           c.Message().GetNotice(),
		Effort:           spread(answer.Total),
		ProvedOptimal:    answer.Proved,
		LowerBound:       minutes(answer.Bound),
		Way:              wayOf(w, c),
	}
	p.keepDone()
	p.addSteps(answer)
	p.addPhases(answer)
	p.addParts()
	p.addJoints()
	p.addNeeds()
	if err := p.addBays(); err != nil {
		return nil, teardown.Plan{}, err
	}
	p.price()
	return p, answer, nil
}

// ask has the engine plan the repairs that are not done yet.
func (p *planner) ask() (teardown.Plan, error) {
	tasks, err := p.tasks()
	if err != nil {
		return teardown.Plan{}, err
	}
	if err := p.wayFits(); err != nil {
		return teardown.Plan{}, err
	}
	p.todo, p.car = tasks, p.model()
	if p.engine, err = teardown.New(p.car); err != nil {
		return teardown.Plan{}, planRefused(err)
	}
	plan, err := p.engine.Plan(p.start(p.car), tasks, p.options(p.car))
	if contradiction, ok := errors.AsType[*teardown.InvalidError](err); ok {
		return teardown.Plan{}, fault.New(fault.Invalid, "WAY_CONTRADICTS", "this way cannot be asked for: %v", contradiction).
			WithField("way", "%v", contradiction)
	}
	return plan, planRefused(err)
}

// start is the car as it stands. What it turned out not to have cannot go back
// on: a step that was ticked off for it leaves pieces for somebody to explain.
func (p *planner) start(model teardown.Model) teardown.CarState {
	off := slices.DeleteFunc(slices.Clone(p.job.Car.Off), func(id string) bool {
		return !slices.ContainsFunc(model.Operations, func(o teardown.Operation) bool { return o.ID == id })
	})
	return teardown.CarState{Done: off, States: p.job.Car.States}
}

// tasks are the repairs of the causes that are not done yet.
func (p *planner) tasks() ([]teardown.Task, error) {
	var tasks []teardown.Task
	for _, id := range p.causes {
		cause := p.catalogue.Cause(id)
		if cause == nil {
			return nil, unknown("cause", id, p.catalogue)
		}
		if !p.may(cause.GetWhen()) {
			return nil, fault.New(fault.Invalid, "CAUSE_NOT_ON_CAR",
				"%s cannot be: this car is not built so; correct what is known of it, or name another cause", cause.GetTitle()).
				WithField("cause", "%s is impossible on this car", id)
		}
		if !slices.Contains(p.job.Car.Repaired, id) {
			tasks = append(tasks, p.catalogue.RepairTask(id, p.facts))
		}
	}
	return tasks, nil
}

// effortCorrelation of the logarithms of two steps' times on one car: the same
// hands and the same rust slow all of them. Common practice, no source.
const effortCorrelation = 0.3

// planRefused gives the engine's explanation to the caller.
func planRefused(err error) error {
	if err == nil {
		return nil
	}
	if impossible, ok := errors.AsType[*teardown.ImpossibleError](err); ok {
		return fault.New(fault.Precondition, "PLAN_IMPOSSIBLE", "%v", impossible).
			WithUnmet(fault.Unmet{Type: "PLAN_IMPOSSIBLE", Description: impossible.Error()})
	}
	return fault.New(fault.Internal, "PLAN_FAILED", "the car cannot be planned with this catalogue").Because(err)
}

// keepDone takes over the steps that are done, so that a revision is whole.
func (p *planner) keepDone() {
	for _, s := range p.job.Plan.GetSteps() {
		if p.job.stepDone(s.GetId()) {
			p.plan.Steps = append(p.plan.Steps, s)
			p.ids[baseOf(s.GetId())]++
		}
	}
}

// stepID is stable over revisions. Work done a second time gets a number: open.valve-cover.2.
func (p *planner) stepID(kind jobv1.PlannedStep_Kind, source string) string {
	base := verbs[kind] + "." + source
	p.ids[base]++
	if n := p.ids[base]; n > 1 {
		return fmt.Sprintf("%s.%d", base, n)
	}
	return base
}

// baseOf takes the number of a repetition off an id.
func baseOf(id string) string {
	if parts := strings.Split(id, "."); len(parts) > 2 {
		return parts[0] + "." + parts[1]
	}
	return id
}

var verbs = map[jobv1.PlannedStep_Kind]string{
	jobv1.PlannedStep_KIND_TAKE_OFF:    "open",
	jobv1.PlannedStep_KIND_REFIT:       "refit",
	jobv1.PlannedStep_KIND_ENTER_STATE: "enter",
	jobv1.PlannedStep_KIND_LEAVE_STATE: "leave",
	jobv1.PlannedStep_KIND_REPAIR:      "repair",
	jobv1.PlannedStep_KIND_LOOK:        "look",
}

func (p *planner) addPhases(answer teardown.Plan) {
	for phase, estimate := range answer.ByPhase {
		if estimate.Mean > 0 {
			p.plan.Phases = append(p.plan.Phases, &jobv1.PhaseEffort{Phase: phases[teardown.Phase(phase)], Effort: spread(estimate)})
		}
	}
}

var phases = map[teardown.Phase]jobv1.Phase{
	teardown.PhaseOpen:    jobv1.Phase_PHASE_OPEN,
	teardown.PhaseInspect: jobv1.Phase_PHASE_INSPECT,
	teardown.PhaseRepair:  jobv1.Phase_PHASE_REPAIR,
	teardown.PhaseClose:   jobv1.Phase_PHASE_CLOSE,
}

func spread(e teardown.Estimate) *commonv1.Spread {
	return &commonv1.Spread{Mean: minutes(e.Mean), P50: minutes(e.P50), P80: minutes(e.P80)}
}

func threePoint(e effort.ThreePoint) *commonv1.ThreePoint {
	return &commonv1.ThreePoint{Optimistic: minutes(e.Optimistic), Likely: minutes(e.Likely), Pessimistic: minutes(e.Pessimistic)}
}

// minutes gives a duration to the second: nobody works finer, and the figure
// stays the same on every machine.
func minutes(m float64) *durationpb.Duration {
	return durationpb.New(time.Duration(math.Round(m*60)) * time.Second)
}

// meanOf is the beta-PERT mean (O+4M+P)/6 of a step.
func meanOf(e *commonv1.ThreePoint) time.Duration {
	return (e.GetOptimistic().AsDuration() + 4*e.GetLikely().AsDuration() + e.GetPessimistic().AsDuration()) / 6
}
