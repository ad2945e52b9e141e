package check

// successors start no earlier than what is before them ends, and the project ends
// no earlier than all.
func (r *room) successors() bool {
	end := len(r.project.Durations)
	for a, list := range r.project.Successors {
		for _, s := range list {
			if !r.precede(a, s) {
				return false
			}
		}
		if !r.precede(a, end) {
			return false
		}
	}
	return true
}

func (r *room) precede(a, b int) bool {
	d := r.project.Durations[a]
	return r.atLeast(b, r.earliest[a]+d) && r.atMost(a, r.latest[b]-d)
}

// exclusions: of two that exclude each other one is first.
func (r *room) exclusions() bool {
	for k, o := range r.orders {
		if r.first[k] == 0 {
			if r.earliest[o.a]+r.project.Durations[o.a] > r.latest[o.b] {
				r.first[k], r.changed = -1, true
			} else if r.earliest[o.b]+r.project.Durations[o.b] > r.latest[o.a] {
				r.first[k], r.changed = 1, true
			}
		}
		ok := true
		switch r.first[k] {
		case 1:
			ok = r.precede(o.a, o.b)
		case -1:
			ok = r.precede(o.b, o.a)
		}
		if !ok {
			return false
		}
	}
	return true
}

// resources: in no period do those that surely run take more than there is, and
// nobody else runs in a period that has not enough left for him.
func (r *room) resources() bool {
	for k, capacity := range r.project.Capacities {
		taken := make([]int, r.latest[len(r.project.Durations)]+1)
		for a, demand := range r.project.Demands {
			for t := r.latest[a]; demand[k] > 0 && t < r.earliest[a]+r.project.Durations[a]; t++ {
				if taken[t] += demand[k]; taken[t] > capacity {
					return false
				}
			}
		}
		for a, demand := range r.project.Demands {
			if demand[k] > 0 && r.project.Durations[a] > 0 && !r.avoid(a, capacity-demand[k], taken) {
				return false
			}
		}
	}
	return true
}

// avoid moves both ends of an activity's starts out of periods in which others
// take more than is left; in its own sure periods it is among the takers.
func (r *room) avoid(a, left int, taken []int) bool {
	d := r.project.Durations[a]
	from, to := r.latest[a], r.earliest[a]+d // where it surely runs
	full := func(t int) bool { return t < len(taken) && taken[t] > left && (t < from || t >= to) }
	for t := r.earliest[a]; t < r.earliest[a]+d && t < from; t++ {
		if full(t) && !r.atLeast(a, t+1) {
			return false
		}
	}
	for t := r.latest[a] + d - 1; t >= r.latest[a] && t >= to; t-- {
		if full(t) && !r.atMost(a, t-d) {
			return false
		}
	}
	return true
}

// believed: of every clause an alternative is left, and if it is the only one, it
// holds. The two that were open the last time are kept in front.
func (r *room) believed() bool {
	for _, clause := range r.clauses {
		if len(clause) > 1 && r.state(clause[0]) >= 0 && r.state(clause[1]) >= 0 {
			continue
		}
		front := 0
		for i, b := range clause {
			s := r.state(b)
			if s >= 0 {
				clause[front], clause[i] = clause[i], clause[front]
				front++
			}
			if s > 0 || front == 2 {
				front = 2
				break
			}
		}
		if front == 0 || front == 1 && !r.set(clause[0]) {
			return false
		}
	}
	return true
}
