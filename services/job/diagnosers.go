package job

import (
	"fmt"
	"slices"
	"strings"
	"sync"

	"ramprow/internal/catalogue"
	"ramprow/internal/engine/diagnosis"
	"ramprow/internal/platform/fault"
)

// diagnoser is the diagnosis engine for one kind of car at one mileage. It
// never changes and may be used by many at once.
type diagnoser struct {
	car    catalogue.Diagnosis
	engine *diagnosis.Engine
}

// newDiagnoser builds the fault model of a job's car, which plans every opening
// and so takes longer than most questions to it.
func newDiagnoser(j *Job, c *catalogue.Catalogue, facts catalogue.Facts, t taught) (*diagnoser, error) {
	car, err := c.DiagnosisModel(facts, float64(j.Vehicle.GetOdometerKm()))
	if err != nil {
		return nil, diagnosisFailed(err)
	}
	if cases := t.casesFor(car.Model); len(cases) > 0 {
		car.Model = car.Model.Apply(car.Model.Learn(cases, catalogueCases))
	}
	engine, err := diagnosis.New(car.Model)
	if err != nil {
		return nil, diagnosisFailed(err)
	}
	return &diagnoser{car: car, engine: engine}, nil
}

func diagnosisFailed(err error) error {
	return fault.New(fault.Internal, "DIAGNOSIS_FAILED", "the catalogue's fault model cannot be used").Because(err)
}

// maxDiagnosers bounds what is kept: the cars that are being diagnosed at once.
const maxDiagnosers = 32

// diagnosers keeps the engines that were used last. The zero value is empty.
type diagnosers struct {
	mu   sync.Mutex
	made map[string]*diagnoser
	// used are the keys, the one used longest ago first.
	used []string
}

// of gives the engine for a job's car. Two who ask at once may both build it.
func (d *diagnosers) of(j *Job, c *catalogue.Catalogue, t taught) (*diagnoser, error) {
	facts, err := c.Facts(j.Vehicle.GetFeatures(), clock(j.Vehicle.GetBuilt()))
	if err != nil {
		return nil, err
	}
	key := diagnoserKey(j, c, facts, t)
	if found := d.find(key); found != nil {
		return found, nil
	}
	made, err := newDiagnoser(j, c, facts, t)
	if err != nil {
		return nil, err
	}
	d.keep(key, made)
	return made, nil
}

func (d *diagnosers) find(key string) *diagnoser {
	d.mu.Lock()
	defer d.mu.Unlock()
	found := d.made[key]
	if found != nil {
		d.used = append(without(d.used, key), key)
	}
	return found
}

func (d *diagnosers) keep(key string, made *diagnoser) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.made == nil {
		d.made = map[string]*diagnoser{}
	}
	d.made[key] = made
	d.used = append(without(d.used, key), key)
	if len(d.used) > maxDiagnosers {
		delete(d.made, d.used[0])
		d.used = slices.Delete(d.used, 0, 1)
	}
}

// diagnoserKey is all that the fault model depends on.
func diagnoserKey(j *Job, c *catalogue.Catalogue, facts catalogue.Facts, t taught) string {
	key := fmt.Sprintf("%s %d %d", c.Version(), j.Vehicle.GetOdometerKm(), t.revision)
	for _, f := range c.Message().GetFeatures() {
		var values []string
		for _, v := range facts.Values(f.GetId()) {
			values = append(values, v.Value)
		}
		key += " " + strings.Join(values, "|")
	}
	return key
}
