package inventory

import (
	"fmt"

	"ramprow/internal/engine/replenish"
)

// coverAlternatives is the probability with which what is kept for alternatives is enough.
const coverAlternatives = 0.95

// needs lists what jobs have of a part on the shelf or wait for, with the
// probability that their car needs it: an alternative is needed if the design
// turns out to be this one. Alternatives of one feature exclude one another, so
// two lines of a job for the same part are one need.
func (st *State) needs(number string, p *part) []replenish.Need {
	var all []replenish.Need
	of := func(job string) {
		either := map[string]int{} // place in all, by feature
		for _, l := range st.holds[job].doc.GetLines() {
			quantity := l.GetHeld() + lacking(l)
			if l.GetPart() != number || quantity == 0 {
				continue
			}
			probability := 1.0
			if l.GetFeature() != "" && l.GetProbability() > 0 {
				probability = min(1, l.GetProbability())
			}
			if at, another := either[l.GetFeature()]; another && l.GetFeature() != "" {
				n := &all[at]
				n.Quantity, n.Probability = max(n.Quantity, quantity), min(1, n.Probability+probability)
				continue
			}
			either[l.GetFeature()] = len(all)
			all = append(all, replenish.Need{Job: job, Quantity: quantity, Probability: probability})
		}
	}
	for _, c := range p.waiting.items {
		of(c.job)
	}
	for _, job := range p.servedByJob() {
		of(job)
	}
	return all
}

// comesFree is what of all that jobs have or wait for will hardly be needed once
// their designs are known, and why.
func (st *State) comesFree(number string, p *part) (int64, string) {
	if len(p.holders) == 0 && len(p.waiting.items) == 0 {
		return 0, ""
	}
	needs := st.needs(number, p)
	open := 0
	for _, n := range needs {
		if n.Probability < 1 {
			open++
		}
	}
	if open == 0 {
		return 0, ""
	}
	cover, err := replenish.Cover(needs, coverAlternatives)
	if err != nil {
		return 0, "" // more than can be computed with: nothing is counted on
	}
	free := max(0, p.held+p.wanted-cover.Quantity)
	return free, fmt.Sprintf("of %d kept for jobs %d will do by their designs' probabilities (%.0f%%), %d open",
		p.held+p.wanted, cover.Quantity, 100*coverAlternatives, open)
}
