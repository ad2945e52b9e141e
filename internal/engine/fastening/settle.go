package fastening

import (
	"maps"
	"slices"
)

// settling follows the rounds of a stage until every fastener was found at
// rest after it and its neighbours last moved: on a soft gasket each one that
// turns takes clamping from those beside it.
type settling struct {
	stage int
	order []int // of the whole joint, which tells the neighbours
	group []int // the fasteners that settle together, in order
	still map[int]bool
	// round holds the fasteners that the present round has yet to try.
	round []int
	// moved counts, by pass and round of the stage, the fasteners that moved.
	moved []int
	base  int // passes before the first round
}

func (s settling) clone() settling {
	s.still = maps.Clone(s.still)
	s.round = slices.Clone(s.round)
	s.moved = slices.Clone(s.moved)
	return s
}

// note keeps what moved in the passes before the rounds.
func (s *settling) note(p pass, moved bool) {
	if s.stage != p.stage+1 {
		*s = settling{stage: p.stage + 1}
	}
	s.add(p.number, moved)
}

func (s *settling) add(round int, moved bool) {
	for len(s.moved) < round {
		s.moved = append(s.moved, 0)
	}
	if moved {
		s.moved[round-1]++
	}
}

// begin starts the first round: nobody was found at rest yet.
func (s *settling) begin(p pass, group, order []int) {
	before := s.moved
	if s.stage != p.stage+1 {
		before = nil
	}
	*s = settling{
		stage: p.stage + 1, order: order, group: group, still: map[int]bool{},
		round: slices.Clone(group), moved: slices.Clone(before), base: p.number - 1,
	}
	s.add(p.number, false)
}

// due gives the fasteners that the present round has yet to try.
func (s *settling) due() []int { return slices.Clone(s.round) }

// number is that of the present round, counted on from the passes before it.
func (s *settling) number() int { return max(len(s.moved), s.base+1) }

// found takes one click: moved or at rest. It tells whether all are at rest.
func (s *settling) found(fastener int, moved bool) bool {
	s.add(s.number(), moved)
	s.still[fastener] = !moved
	if moved {
		for _, f := range neighbours(s.order, fastener) {
			s.still[f] = false
		}
	}
	s.round = keep(s.round, func(f int) bool { return f != fastener })
	if len(s.round) > 0 {
		return false
	}
	s.round = s.restless()
	if len(s.round) == 0 {
		return true
	}
	s.add(len(s.moved)+1, false)
	return false
}

// restless gives the group's fasteners that were not found at rest since the
// last movement near them.
func (s *settling) restless() []int {
	return keep(s.group, func(f int) bool { return !s.still[f] })
}
