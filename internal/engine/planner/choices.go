package planner

import (
	"cmp"
	"fmt"
	"slices"
)

// choicesOf gives every way to serve a job, whatever the time: bays of a kind,
// people with all skills, a kit for every tool type.
func (s *shop) choicesOf(j Job) []choice {
	var all []choice
	sets := s.toolChoices(j.ToolTypes)
	for b, bay := range s.problem.Bays {
		if !bay.suits(j) {
			continue
		}
		for h, person := range s.problem.People {
			expires, licence, ok := person.able(j)
			if !ok {
				continue
			}
			for _, kits := range sets {
				c := choice{bay: b, person: h, kits: kits, expires: expires, licence: licence}
				c.open, c.twice = s.together(c), twice(kits)
				all = append(all, c)
			}
		}
	}
	return all
}

func (b Bay) suits(j Job) bool {
	return len(j.BayKinds) == 0 || slices.Contains(j.BayKinds, b.Kind)
}

// able tells whether a person has all skills of a job, and when the first of
// them ends.
func (h Person) able(j Job) (expires instant, licence string, ok bool) {
	expires = forever
	for _, want := range j.Skills {
		i := slices.IndexFunc(h.Skills, func(s Skill) bool { return s.Name == want })
		if i < 0 {
			return 0, "", false
		}
		if e := h.Skills[i].Expires; !e.IsZero() && at(e) < expires {
			expires, licence = at(e), want
		}
	}
	return expires, licence, true
}

// choose gives every job its choices. Jobs that want the same share them.
func (s *shop) choose() {
	known := map[string]int{}
	var sets [][]choice
	set := make([]int, len(s.jobs))
	for job := range s.jobs {
		j := &s.jobs[job]
		key := fmt.Sprintf("%q %q %q", j.BayKinds, j.Skills, j.ToolTypes)
		n, ok := known[key]
		if !ok {
			n = len(sets)
			known[key], sets = n, append(sets, s.choicesOf(*j))
		}
		set[job] = n
	}
	s.weighScarcity(sets, set)
	parts := make([]parts, len(sets))
	for n := range sets {
		parts[n] = partsOf(sets[n])
	}
	for _, n := range set {
		s.choices, s.parts = append(s.choices, sets[n]), append(s.parts, parts[n])
	}
}

// weighScarcity finds how much each resource is wanted: a job that has only one
// bay to go to counts whole for it, a job with ten a tenth for each. Of two
// choices that cost the same, the less wanted is taken: it comes first.
func (s *shop) weighScarcity(sets [][]choice, set []int) {
	bays, people, tools := make([]float64, len(s.bays)), make([]float64, len(s.people)), make([]float64, len(s.tools))
	for _, n := range set {
		share := 1 / float64(max(1, len(sets[n])))
		for i := range sets[n] {
			c := &sets[n][i]
			bays[c.bay] += share
			people[c.person] += share
			for _, k := range c.kits {
				tools[k[0]] += share / float64(len(k))
			}
		}
	}
	for _, choices := range sets {
		for i := range choices {
			c := &choices[i]
			c.scarce = bays[c.bay] + people[c.person]
			for _, k := range c.kits {
				c.scarce += tools[k[0]]
			}
		}
		slices.SortStableFunc(choices, func(a, b choice) int { return cmp.Compare(a.scarce, b.scarce) })
	}
}

// names gives a choice's tools by name.
func (s *shop) toolNames(tools []int) []string {
	var names []string
	for _, t := range tools {
		names = append(names, s.tools[t].name)
	}
	return names
}
