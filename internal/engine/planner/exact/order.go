package exact

// activityHeap gives the value that conflicts were about most, lately.
type activityHeap struct {
	activity []float64
	heap     []int32
	place    []int32 // in the heap, or -1
}

func newActivityHeap(values int) activityHeap {
	h := activityHeap{activity: make([]float64, values), place: make([]int32, values)}
	for i := range h.place {
		h.place[i] = -1
	}
	return h
}

// restore puts a value that was ever of interest back.
func (h *activityHeap) restore(v int32) {
	if h.activity[v] > 0 && h.place[v] < 0 {
		h.place[v] = int32(len(h.heap)) //nolint:gosec // bounded
		h.heap = append(h.heap, v)
		h.up(h.place[v])
	}
}

// add makes a value more interesting.
func (h *activityHeap) add(v int32, much float64) {
	h.activity[v] += much
	if h.place[v] < 0 {
		h.restore(v)
		return
	}
	h.up(h.place[v])
}

// pop takes the most interesting value out; -1: there is none.
func (h *activityHeap) pop() int32 {
	if len(h.heap) == 0 {
		return -1
	}
	top := h.heap[0]
	last := h.heap[len(h.heap)-1]
	h.heap = h.heap[:len(h.heap)-1]
	h.place[top] = -1
	if last != top {
		h.heap[0], h.place[last] = last, 0
		h.down(0)
	}
	return top
}

func (h *activityHeap) scale(by float64) {
	for i := range h.activity {
		h.activity[i] *= by
	}
}

func (h *activityHeap) up(i int32) {
	v := h.heap[i]
	for i > 0 {
		parent := (i - 1) / 2
		if h.activity[h.heap[parent]] >= h.activity[v] {
			break
		}
		h.heap[i] = h.heap[parent]
		h.place[h.heap[i]] = i
		i = parent
	}
	h.heap[i], h.place[v] = v, i
}

func (h *activityHeap) down(i int32) {
	v := h.heap[i]
	for {
		child := 2*i + 1
		if int(child) >= len(h.heap) {
			break
		}
		if int(child)+1 < len(h.heap) && h.activity[h.heap[child+1]] > h.activity[h.heap[child]] {
			child++
		}
		if h.activity[v] >= h.activity[h.heap[child]] {
			break
		}
		h.heap[i] = h.heap[child]
		h.place[h.heap[i]] = i
		i = child
	}
	h.heap[i], h.place[v] = v, i
}

// fading is how much less a conflict counts than the next one.
const fading = 0.95

// bump makes the value of a literal more interesting. Where all that is scarce are
// pairs, only their orders are: with these the earliest starts are a schedule.
func (s *solver) bump(l literal) {
	if len(s.resources) > 0 || l.side>>1 > s.end {
		s.order.add(s.value(l), s.growth)
	}
}

// fade lets the past count less, by letting what comes count more.
func (s *solver) fade() {
	s.growth /= fading
	if s.growth < 1e30 {
		return
	}
	s.order.scale(1e-30)
	for c := range s.clauses {
		s.clauses[c].activity *= 1e-30
	}
	s.growth *= 1e-30
}

// literalOf gives the upward literal of a value.
func (s *solver) literalOf(v int32) literal {
	side := s.sideOf[v]
	return literal{side, v - s.first[side]}
}
