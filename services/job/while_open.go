package job

import (
	"fmt"
	"strings"

	"ramprow/internal/catalogue"
	"ramprow/internal/engine/diagnosis"
	"ramprow/internal/engine/teardown"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// secondVisit is the customer's cost of bringing the car again, in minutes of
// labour: the ways, the waiting, the car that is missed. Common practice, no source.
const secondVisit = 60

// maxSuggestions bounds what is shown: more is read by nobody.
const maxSuggestions = 5

// whileOpen suggests what is cheap to mend while the car is open for causes:
// other repairs, as probable as their causes are at this mileage.
func whileOpen(j *Job, c *catalogue.Catalogue, causes []string, d *diagnoser) ([]*jobv1.Suggestion, error) {
	p, err := newPlanner(j, c, causes)
	if err != nil {
		return nil, err
	}
	tasks, err := p.tasks()
	if err != nil {
		return nil, err
	}
	model := p.model()
	engine, err := teardown.New(model)
	if err != nil {
		return nil, planRefused(err)
	}
	ranked, err := engine.WhileOpen(p.start(model), tasks, p.candidates(d.car.Model.Causes), p.options(model))
	if err != nil {
		return nil, planRefused(err)
	}
	var suggestions []*jobv1.Suggestion
	for _, s := range ranked[:min(len(ranked), maxSuggestions)] {
		suggestions = append(suggestions, &jobv1.Suggestion{
			Piece: s.Candidate.Task.Targets[0], Title: s.Candidate.Task.Title, Extra: minutes(s.Extra),
			Reason: fmt.Sprintf("%s more now, %s on a visit of its own; due with %.0f %% probability",
				shortly(s.Extra), shortly(s.Alone), 100*s.Candidate.DueProbability),
		})
	}
	return suggestions, nil
}

func shortly(m float64) string { return about(minutes(m).AsDuration()) }

// candidates are the repairs that nobody asked for. Causes that one repair
// mends, as the four coils, make it more probable together.
func (p *planner) candidates(causes []diagnosis.Cause) []teardown.Candidate {
	var list []teardown.Candidate
	at := map[string]int{}
	for _, id := range append(append([]string{}, p.causes...), p.job.Car.Repaired...) {
		at[p.repairKey(id)] = -1 // is done anyway
	}
	for _, cause := range causes {
		key := p.repairKey(cause.ID)
		i, known := at[key]
		switch {
		case known && i < 0:
		case known:
			list[i].DueProbability = 1 - (1-list[i].DueProbability)*(1-cause.Prior)
		default:
			task := p.catalogue.RepairTask(cause.ID, p.facts)
			if len(task.Targets) > 0 {
				at[key] = len(list)
				list = append(list, teardown.Candidate{Task: task, DueProbability: cause.Prior, ComingBack: secondVisit})
			}
		}
	}
	return list
}

// repairKey is equal for causes that the same repair mends.
func (p *planner) repairKey(cause string) string {
	r := p.catalogue.Cause(cause).GetRepair()
	return r.GetTitle() + "\n" + strings.Join(r.GetTargets(), "\n")
}
