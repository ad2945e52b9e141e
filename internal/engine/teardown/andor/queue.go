package andor

// factCost is a fact with a cost at which it was reached.
type factCost struct {
	fact int
	cost float64
}

// factQueue is a binary heap, the cheapest first. The standard heap would box every entry.
type factQueue []factCost

func (q *factQueue) push(x factCost) {
	*q = append(*q, x)
	h := *q
	for i := len(h) - 1; i > 0; {
		up := (i - 1) / 2
		if h[up].cost <= h[i].cost {
			return
		}
		h[up], h[i] = h[i], h[up]
		i = up
	}
}

// pop takes the cheapest out of a queue that is not empty.
func (q *factQueue) pop() factCost {
	h := *q
	least, last := h[0], len(h)-1
	h[0] = h[last]
	h = h[:last]
	*q = h
	for i := 0; ; {
		child := 2*i + 1
		if child >= last {
			return least
		}
		if child+1 < last && h[child+1].cost < h[child].cost {
			child++
		}
		if h[i].cost <= h[child].cost {
			return least
		}
		h[i], h[child] = h[child], h[i]
		i = child
	}
}
