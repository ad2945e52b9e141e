package projects

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"ramprow/internal/engine/planner/check"
	"ramprow/internal/engine/planner/exact"
	"ramprow/internal/engine/planner/psplib"
	"ramprow/internal/engine/planner/rcpsp"
)

// askEvery is after how many schedules the clock is looked at: that takes as long as
// part of a small schedule.
const askEvery = 8

// maxClauses is how long a proof may be that the checker follows.
const maxClauses = 20_000

// Outcome is what came of one instance.
type Outcome struct {
	Set, Instance string
	Activities    int
	// Path is the critical path, Bound the best lower bound found.
	Makespan, Path, Bound int
	// Known is the best known value; zero: none.
	Known     int
	Schedules int
	// Spent is the time of one core for the schedules, Proof what was spent on proving.
	Spent, Proof time.Duration
	// Conflicts are the dead ends of the proof.
	Conflicts int
	// Derived: the checker found the bound by itself, or by following the proof.
	Derived bool
}

// Proved tells whether nothing shorter exists.
func (o Outcome) Proved() bool { return o.Makespan == o.Bound }

// Run measures all sets. It fails if the checker finds anything wrong with a
// schedule, or a schedule is shorter than what is proved to be possible.
func Run(ctx context.Context, c Config) (*Report, error) {
	if err := c.check(); err != nil {
		return nil, err
	}
	report := &Report{Workers: c.Workers, Seed: c.Seed, Every: c.Every}
	for _, folder := range c.Folders {
		s, err := readSet(c, folder)
		if err != nil {
			return nil, err
		}
		for _, schedules := range c.Schedules {
			began := time.Now()
			outcomes, err := s.solve(ctx, c, schedules)
			if err != nil {
				return nil, err
			}
			row := rowOf(s.name, schedules, outcomes)
			row.WallSeconds = time.Since(began).Seconds()
			report.Rows = append(report.Rows, row)
			c.say("%s: %d instances, %d schedules each, done in %.1f s", s.name, len(outcomes), schedules, row.WallSeconds)
		}
	}
	return report, nil
}

// set is a folder of instances.
type set struct {
	name      string
	instances []instance
}

type instance struct {
	name    string
	project rcpsp.Project
	known   best
}

func readSet(c Config, folder string) (set, error) {
	files, err := os.ReadDir(folder)
	if err != nil {
		return set{}, err
	}
	table, must := c.Known, true
	if table == "" {
		table, must = filepath.Clean(folder)+".csv", false
	}
	known, err := readKnown(table, must)
	if err != nil {
		return set{}, err
	}
	s := set{name: filepath.Base(filepath.Clean(folder))}
	var names []string
	for _, f := range files { // sorted by name
		if !f.IsDir() && psplib.Readable(f.Name()) {
			names = append(names, f.Name())
		}
	}
	for i := 0; i < len(names); i += c.Every {
		project, err := readInstance(filepath.Join(folder, names[i]), c.Operators)
		if err != nil {
			return set{}, err
		}
		name := strings.TrimSuffix(names[i], filepath.Ext(names[i]))
		s.instances = append(s.instances, instance{name, project, known[name]})
	}
	if len(s.instances) == 0 {
		return set{}, fmt.Errorf("%s: no file ends in .sm, .rcp, .jsp, .jss or .txt, or has no ending", folder)
	}
	return s, nil
}

func readInstance(file string, operators int) (rcpsp.Project, error) {
	f, err := os.Open(file) //nolint:gosec // the caller's own choice
	if err != nil {
		return rcpsp.Project{}, err
	}
	defer func() { _ = f.Close() }() // only read
	project, err := psplib.Read(file, f)
	if err == nil && operators > 0 && psplib.IsJobShop(file) {
		project, err = psplib.WithOperators(project, len(project.Capacities), psplib.Operators{Any: operators})
	}
	if err != nil {
		return rcpsp.Project{}, fmt.Errorf("%s: %w", file, err)
	}
	return project, nil
}

// solve solves every instance, several at once.
func (s set) solve(ctx context.Context, c Config, schedules int) ([]Outcome, error) {
	outcomes, failures := make([]Outcome, len(s.instances)), make([]error, len(s.instances))
	var group sync.WaitGroup
	work := make(chan int)
	for range c.Workers {
		group.Go(func() {
			for i := range work {
				outcomes[i], failures[i] = s.one(ctx, c, i, schedules)
				if c.Each != nil && failures[i] == nil {
					c.Each(outcomes[i])
				}
			}
		})
	}
	for i := range s.instances {
		work <- i
	}
	close(work)
	group.Wait()
	if ctx.Err() != nil {
		return nil, fmt.Errorf("the measurement was stopped: %w", ctx.Err())
	}
	return outcomes, errors.Join(failures...)
}

func (s set) one(ctx context.Context, c Config, i, schedules int) (Outcome, error) {
	in := s.instances[i]
	spent, release := clock(c)
	defer release()
	var asked atomic.Int64
	stop := func() bool {
		return ctx.Err() != nil || c.Seconds > 0 && asked.Add(1)%askEvery == 0 && spent() >= c.time()
	}
	r, err := rcpsp.Solve(in.project, rcpsp.Options{Schedules: schedules, Seed: c.Seed, Stop: stop, Islands: c.Islands})
	if err != nil {
		return Outcome{}, fmt.Errorf("%s: %w", in.name, err)
	}
	o := Outcome{
		Set: s.name, Instance: in.name, Activities: len(in.project.Durations),
		Path: check.LongestPath(in.project), Known: in.known.makespan, Schedules: r.Schedules, Spent: spent(),
	}
	if c.Prove > 0 && r.LowerBound < r.Makespan {
		late := func() bool { return ctx.Err() != nil || spent().Seconds() >= c.Prove }
		q, err := exact.Prove(in.project, exact.Options{Starts: r.Starts, Stop: late, Clauses: maxClauses})
		if err != nil {
			return o, fmt.Errorf("%s: %w", in.name, err)
		}
		r.Starts, r.Makespan, r.LowerBound = q.Starts, q.Makespan, max(r.LowerBound, q.Bound)
		o.Proof, o.Conflicts = spent()-o.Spent, q.Conflicts
		if q.Proof != nil {
			if err := check.Proof(in.project, *q.Proof); err != nil {
				return o, fmt.Errorf("%s: the checker does not believe the proof: %w", in.name, err)
			}
			o.Derived = true
		}
	}
	o.Makespan, o.Bound = r.Makespan, r.LowerBound
	o.Derived = o.Derived || o.Bound == max(o.Path, check.Work(in.project))
	if found := check.Project(in.project, r.Starts, r.Makespan); len(found) > 0 {
		return o, fmt.Errorf("%s: the checker refuses the schedule: %v", in.name, found)
	}
	if r.LowerBound > r.Makespan || in.known.proved && r.Makespan < in.known.makespan {
		return o, fmt.Errorf("%s: the makespan %d is shorter than what was proved (%d here, %d in the table)", in.name, r.Makespan, r.LowerBound, in.known.makespan)
	}
	if in.known.makespan > 0 && r.LowerBound > in.known.makespan {
		return o, fmt.Errorf("%s: the bound %d contradicts the table's schedule of %d", in.name, r.LowerBound, in.known.makespan)
	}
	return o, nil
}

// clock is a core's own, or the wall's if several work on an instance.
func clock(c Config) (spent func() time.Duration, release func()) {
	if c.Islands <= 1 {
		return coreClock()
	}
	began := time.Now()
	return func() time.Duration { return time.Since(began) }, func() {}
}
