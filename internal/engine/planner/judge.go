package planner

import "time"

// Judgement is how sure a plan's promises are, by letting it run as Foresee does.
type Judgement struct {
	// Held is for each promised job the share of runs in which its promise holds.
	Held map[string]float64
	// All is the share of runs in which every promise holds, Broken how many fail in a run on average.
	All, Broken float64
	// Began is how many promises, its own or others', fail in a run on average because of
	// a delay that begins with this job. A buffer behind it pays most where this is most.
	Began map[string]float64
}

// Judge lets a plan run and counts which promises hold. Jobs without a promise are not
// counted, but may keep others waiting.
func Judge(p Problem, plan Plan, spread func(job string) Spread, promised map[string]time.Time) (Judgement, error) {
	out := Judgement{Held: map[string]float64{}, Began: map[string]float64{}}
	var failed [draws]int
	err := foreseen(p, plan, spread, func(lies Placement, r ran) {
		promise, ok := promised[lies.Job]
		if !ok {
			return
		}
		held := 0
		for n, end := range r.ends {
			if end <= at(promise) {
				held++
				continue
			}
			failed[n]++
			out.Began[r.began[n]] += 1.0 / draws
		}
		out.Held[lies.Job] = float64(held) / draws
	})
	for _, n := range failed {
		out.Broken += float64(n) / draws
		if n == 0 {
			out.All += 1.0 / draws
		}
	}
	return out, err
}
