package diagnosis

// block is a run of actions of which no part should be put off: what opening gives access to joins
// the opening as long as that raises the ratio of probability to minutes.
type block struct {
	probability float64
	minutes     float64
	// cost is the sum over the block's repairs of probability times the minutes from the block's
	// start until the repair is done.
	cost float64
}

func (b block) before(c block) bool { return b.probability*c.minutes > c.probability*b.minutes }

// then is the block followed by another.
func (b block) then(c block) block {
	return block{b.probability + c.probability, b.minutes + c.minutes, b.cost + c.cost + c.probability*b.minutes}
}

// repairOnly is the expected minutes, times the weight of the belief, when repairs that lie behind
// a forest of openings are tried in the best order without any test. An opening is paid for once and
// need not be closed to see whether the fault is gone. Clusters are merged from the inside out, and
// each opening absorbs the blocks whose ratio exceeds its own (bottom-up p-over-c of Ottosen &
// Jensen; the same as Horn's rule for trees), in O(n log n) but for the insertion sort, which is
// quicker at this size. The car is handed over between blocks where that is cheaper.
func (p *planner) repairOnly(belief []float64, s state) float64 {
	p.blocks = p.blocks[:0]
	p.gather(-1, belief, s)
	sortBlocks(p.blocks)
	cost, remaining := 0.0, 0.0
	for i := len(p.blocks) - 1; i >= 0; i-- {
		b := p.blocks[i]
		cost += b.cost + remaining*b.minutes
		remaining += b.probability
		if p.handOver > 0 {
			cost = min(cost, p.handOver*remaining)
		}
	}
	return cost
}

// gather puts the blocks to which an opening gives access onto the stack; -1 is the outside.
// Openings that are open already make no difference.
func (p *planner) gather(opening int, belief []float64, s state) {
	for _, c := range p.behind[opening+1] {
		if s.suspects(c) {
			b := block{probability: belief[c], minutes: p.repairs[c].minutes}
			b.cost = b.probability * b.minutes
			p.blocks = append(p.blocks, b)
		}
	}
	for _, o := range p.inside[opening+1] {
		mark := len(p.blocks)
		p.gather(o, belief, s)
		if !s.isOpen(o) && len(p.blocks) > mark {
			p.absorb(o, mark)
		}
	}
}

// absorb puts the opening in front of the blocks behind it, which are on the stack from mark on.
func (p *planner) absorb(opening, mark int) {
	blocks := p.blocks[mark:]
	sortBlocks(blocks)
	head := block{minutes: p.openings[opening].minutes}.then(blocks[0])
	n := 1
	for n < len(blocks) && blocks[n].before(head) {
		head = head.then(blocks[n])
		n++
	}
	blocks[0] = head
	p.blocks = append(p.blocks[:mark+1], blocks[n:]...)
}

func sortBlocks(b []block) {
	for i := 1; i < len(b); i++ {
		for k := i; k > 0 && b[k].before(b[k-1]); k-- {
			b[k], b[k-1] = b[k-1], b[k]
		}
	}
}
