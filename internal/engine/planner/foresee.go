package planner

import (
	"cmp"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"
	"time"
)

// draws is how often a plan is let run. With 199 the 160th of a sorted row is exactly
// its eighth decile.
const draws = 199

// z80 is the eighth decile of the standard normal distribution.
const z80 = 0.8416212335729143

// Spread is a hands-on time with its uncertainty: half of such work takes no longer
// than P50, four of five no longer than P80.
type Spread struct{ P50, P80 time.Duration }

// Outlook is when a job may be done.
type Outlook struct {
	// P50 and P80: half of the runs of the plan, and four of five, end no later.
	P50, P80 time.Time
	// Held is the share of runs that end no later than the plan says.
	Held float64
}

// Foresee lets a plan run many times, each time with other durations, and gives for
// every placed job when it ends. In a run a job begins as planned, or as soon as its
// bay, its person and its tools have been given free by those before it; nobody
// begins earlier than the plan says. Durations are log-normal through P50 and P80, and
// independent of each other. It is deterministic: every job has draws of its own that
// depend on its name alone, so what does not touch a job does not change its outlook.
func Foresee(p Problem, plan Plan, spread func(job string) Spread) (map[string]Outlook, error) {
	out := make(map[string]Outlook, len(plan.Placements))
	zone := p.Zone
	if zone == nil {
		zone = time.UTC
	}
	err := foreseen(p, plan, spread, func(lies Placement, r ran) {
		sorted := slices.Sorted(slices.Values(r.ends))
		onTime, _ := slices.BinarySearch(sorted, at(lies.When.End)+1)
		out[lies.Job] = Outlook{
			P50: sorted[draws/2].time(zone), P80: sorted[draws*4/5].time(zone),
			Held: float64(onTime) / draws,
		}
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// ran is one job in all runs: when it ends, and with whose overrun a delay began, its
// own unless somebody kept it waiting.
type ran struct {
	ends  []instant
	began []string
}

// foreseen lets a plan run and tells of each placed job, in the order in which they start.
func foreseen(p Problem, plan Plan, spread func(job string) Spread, tell func(Placement, ran)) error {
	s, err := resourcesOf(p)
	if err != nil {
		return err
	}
	index := map[string]int{}
	for i, j := range p.Jobs {
		index[j.Name] = i
	}
	placed := slices.Clone(plan.Placements)
	slices.SortStableFunc(placed, func(a, b Placement) int {
		return cmp.Or(a.When.Start.Compare(b.When.Start), cmp.Compare(a.Job, b.Job))
	})
	f := &foresight{shop: s, free: map[string]ran{}, normal: make([]float64, draws)}
	for n := range f.normal {
		f.normal[n] = math.Sqrt2 * math.Erfinv(2*float64(n+1)/(draws+1)-1)
	}
	for _, lies := range placed {
		if i, ok := index[lies.Job]; ok {
			tell(lies, f.run(&p.Jobs[i], lies, spread(lies.Job)))
		}
	}
	return nil
}

// foresight is all runs side by side: when each resource is free again in each.
type foresight struct {
	shop *shop
	free map[string]ran
	// normal are the standard normal distribution's values at equal steps of probability.
	normal []float64
}

// run adds one job to all runs.
func (f *foresight) run(j *Job, lies Placement, spread Spread) ran {
	s := f.shop
	c := s.known(Started{Bay: lies.Bay, Person: lies.Person, Tools: lies.Tools})
	open := s.together(c)
	held := append([]string{lies.Bay, lies.Person}, lies.Tools...)
	held = slices.DeleteFunc(held, func(name string) bool { return name == "" })
	r := ran{make([]instant, draws), slices.Repeat([]string{j.Name}, draws)}
	for n, effort := range f.efforts(j.Name, spread) {
		if j.Started != nil {
			w := *j.Started
			w.Left = effort
			r.ends[n] = s.startedEnd(w, open)
			continue
		}
		start := at(lies.When.Start)
		for _, name := range held {
			if before, taken := f.free[name]; taken && before.ends[n] > start {
				start, r.began[n] = before.ends[n], before.began[n]
			}
		}
		end, ok := open.finish(start, effort)
		if !ok {
			end = s.extent.end
		}
		r.ends[n] = end
	}
	for _, name := range held {
		f.free[name] = r
	}
	return r
}

// efforts draws durations: one from each of equally likely parts of the distribution,
// in an order of the job's own.
func (f *foresight) efforts(job string, s Spread) []time.Duration {
	hash := fnv.New64a()
	_, _ = hash.Write([]byte(job)) // never fails
	order := rand.New(rand.NewPCG(hash.Sum64(), draws)).Perm(draws)
	sigma := 0.0
	if s.P80 > s.P50 && s.P50 > 0 {
		sigma = math.Log(float64(s.P80)/float64(s.P50)) / z80
	}
	out := make([]time.Duration, draws)
	for n := range out {
		out[n] = time.Duration(float64(s.P50) * math.Exp(sigma*f.normal[order[n]])).Round(time.Second)
	}
	return out
}
