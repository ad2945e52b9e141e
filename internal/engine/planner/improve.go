package planner

import (
	"cmp"
	"slices"
)

// leastGain is what a step must save, in weighted minutes, to be worth a change.
const leastGain = 15.0

// improve takes the job that loses most against being alone in the shop, and
// what stands in its way, off the board and puts them back, most urgent first.
// A step that does not pay is undone. At most tries steps are made.
func (b *board) improve(tries int) {
	ideal := b.ideals()
	for tries > 0 {
		gained := false
		for _, job := range b.byLoss(ideal) {
			if tries--; tries < 0 {
				return
			}
			if b.step(job, ideal[job]) {
				gained = true
				break
			}
		}
		if !gained {
			return
		}
	}
}

// ideals gives for every movable job the slot that it would have if only what
// cannot be pushed were there.
func (b *board) ideals() []*slot {
	alone := newBoard(b.shop)
	for job, sl := range b.slots {
		if sl != nil && sl.fixed {
			alone.put(job, sl)
		}
	}
	ideal := make([]*slot, len(b.slots))
	for job := range b.slots {
		if alone.open(job) {
			ideal[job] = alone.cheapest(job, nil)
		}
	}
	return ideal
}

// byLoss orders movable jobs by what they lose against their ideal, and leaves
// out those that lose nothing worth a change.
func (b *board) byLoss(ideal []*slot) []int {
	s := b.shop
	loss := make([]float64, len(ideal))
	var jobs []int
	for job, sl := range ideal {
		switch {
		case sl == nil:
			continue
		case b.slots[job] == nil:
			loss[job] = unplaced
		default:
			loss[job] = s.costOf(job, b.slots[job]).Total() - s.costOf(job, sl).Total()
		}
		if loss[job] > leastGain {
			jobs = append(jobs, job)
		}
	}
	slices.SortStableFunc(jobs, func(x, y int) int { return cmp.Compare(loss[y], loss[x]) })
	return jobs
}

// step tries one exchange and tells whether it was kept.
func (b *board) step(job int, ideal *slot) bool {
	before := b.cost().Total()
	taken := map[int]*slot{job: b.take(job)}
	moved := []int{job}
	for _, o := range b.obstacles(ideal.choice, ideal.span) {
		if o.job == none || b.slots[o.job] == nil || b.slots[o.job].fixed {
			continue
		}
		taken[o.job] = b.take(o.job)
		moved = append(moved, o.job)
	}
	b.insert(job)
	for _, other := range b.shop.urgency {
		if other != job && slices.Contains(moved, other) && !b.keep(other) {
			b.insert(other)
		}
	}
	if b.cost().Total() < before-leastGain {
		return true
	}
	for _, other := range moved {
		b.take(other)
	}
	for _, other := range moved {
		if taken[other] != nil {
			b.put(other, taken[other])
		}
	}
	return false
}
