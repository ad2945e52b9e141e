package andor

// index maps a fact to actions, packed so that large problems cost few allocations.
type index struct {
	begin []int32
	list  []int32
}

func (x index) of(fact int) []int32 { return x.list[x.begin[fact]:x.begin[fact+1]] }

// consumers indexes actions by precondition, with repeats as often as they are written.
func consumers(p Problem) index {
	return pack(p, func(a Action) []int { return a.Pre })
}

// achievers indexes actions by what they add.
func achievers(p Problem) index {
	return pack(p, func(a Action) []int { return a.Add })
}

func pack(p Problem, facts func(Action) []int) index {
	x := index{begin: make([]int32, p.Facts+1)}
	for _, a := range p.Actions {
		for _, f := range facts(a) {
			x.begin[f+1]++
		}
	}
	for f := range p.Facts {
		x.begin[f+1] += x.begin[f]
	}
	x.list = make([]int32, x.begin[p.Facts])
	next := append([]int32(nil), x.begin...)
	for i, a := range p.Actions {
		for _, f := range facts(a) {
			x.list[next[f]] = int32(i)
			next[f]++
		}
	}
	return x
}
