package diagnosis

import (
	"cmp"
	"slices"
)

// block is a run of actions of which no part should be put off: what opening gives access to joins
// the opening as long as that raises the ratio of probability to minutes.
type block struct {
	probability float64
	minutes     float64
	repairs     []int
}

func (b block) before(c block) bool { return b.probability*c.minutes > c.probability*b.minutes }

// bottomUp orders repairs that lie behind a forest of openings so that the expected cost is least,
// given that an opening is paid for once and need not be closed to see whether the fault is gone.
// It merges clusters from the inside out and lets each opening absorb the blocks whose ratio
// exceeds its own (bottom-up p-over-c of Ottosen & Jensen; the same as Horn's rule for trees).
func (p *planner) bottomUp(belief []float64, s state) []int {
	blocks := p.blocksBehind(-1, belief, s)
	var order []int
	for _, b := range blocks {
		order = append(order, b.repairs...)
	}
	return order
}

// blocksBehind lists, best first, the blocks to which the opening gives access; -1 is what is
// accessible now.
func (p *planner) blocksBehind(opening int, belief []float64, s state) []block {
	var blocks []block
	for c := range p.repairs {
		if s.suspects(c) && p.closed(p.repairs[c].behind, s) == opening {
			blocks = append(blocks, block{belief[c], p.repairs[c].minutes, []int{c}})
		}
	}
	for o := range p.openings {
		if !s.isOpen(o) && p.closed(p.openings[o].inside, s) == opening {
			blocks = append(blocks, p.absorb(o, p.blocksBehind(o, belief, s))...)
		}
	}
	slices.SortStableFunc(blocks, func(a, b block) int {
		return cmp.Compare(b.probability*a.minutes, a.probability*b.minutes)
	})
	return blocks
}

// absorb puts the opening in front of the ordered blocks behind it.
func (p *planner) absorb(opening int, blocks []block) []block {
	if len(blocks) == 0 {
		return nil // nothing of interest lies behind it
	}
	head := block{minutes: p.openings[opening].minutes}
	for len(blocks) > 0 && (head.repairs == nil || blocks[0].before(head)) {
		head.probability += blocks[0].probability
		head.minutes += blocks[0].minutes
		head.repairs = append(head.repairs, blocks[0].repairs...)
		blocks = blocks[1:]
	}
	return append([]block{head}, blocks...)
}

// repairOnly is the expected minutes, times the weight of the belief, when repairs are tried in
// the best order without any test; the car is handed over where that is cheaper.
func (p *planner) repairOnly(belief []float64, s state) float64 {
	order := p.bottomUp(belief, s)
	minutes := make([]float64, len(order))
	for i, c := range order {
		minutes[i] = p.repairs[c].minutes + p.openCost(p.repairs[c].behind, s)
		s = p.open(s, p.repairs[c].behind)
	}
	cost, remaining := 0.0, 0.0
	for i := len(order) - 1; i >= 0; i-- {
		remaining += belief[order[i]]
		cost += minutes[i] * remaining
		if p.handOver > 0 {
			cost = min(cost, p.handOver*remaining)
		}
	}
	return cost
}
