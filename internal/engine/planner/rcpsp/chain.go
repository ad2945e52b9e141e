package rcpsp

import "slices"

// link is two activities of which the second began when the first gave back what
// both need.
type link struct{ before, after int32 }

// bend lists a schedule's activities for the other direction, and turns one of the
// links that made it as long as it is: what waited comes before what it waited for. As
// in the job shop, changes elsewhere leave the longest chain as it was (van Laarhoven,
// Aarts, Lenstra, 1992; from memory).
func (s *search) bend(dir int, of schedule) {
	s.justify(dir, of)
	if s.chain(dir, of); len(s.links) > 0 {
		s.turn(dir, s.links[s.random.IntN(len(s.links))])
	}
}

// chain follows what made a schedule as long as it is, back from its end, and keeps
// the links that are not precedence. Where several activities could be the reason it
// draws one. It looks at finished schedules only and generates none. Cost: activities
// times the length of the chain.
func (s *search) chain(dir int, of schedule) {
	w := s.nets[dir]
	s.links = s.links[:0]
	after := s.drawEnding(of.makespan, of, w, func(int32) bool { return true })
	for after >= 0 {
		start := of.finish[after] - w.durations[after]
		before := s.drawEnding(start, of, w, func(a int32) bool {
			return slices.Contains(w.preds[after], a) || w.rivals(a, after)
		})
		if before >= 0 && !slices.Contains(w.preds[after], before) {
			s.links = append(s.links, link{before, after})
		}
		after = before
	}
}

// drawEnding draws one of the activities that end at a time and are wanted; -1: none.
func (s *search) drawEnding(at int32, of schedule, w *network, wanted func(int32) bool) int32 {
	drawn, seen := int32(-1), int32(0)
	for a, f := range of.finish {
		if f != at || w.durations[a] == 0 || !wanted(int32(a)) {
			continue
		}
		if seen++; s.random.Int32N(seen) == 0 {
			drawn = int32(a)
		}
	}
	return drawn
}

// turn changes the order of a link of a direction in the list, which is one for the
// other direction, so there the later activity comes first. One of the two jumps over
// the other, if precedence lets it.
func (s *search) turn(dir int, l link) {
	w := s.nets[dir]
	i, j := slices.Index(s.list, l.after), slices.Index(s.list, l.before)
	if i > j {
		return
	}
	forth, back := true, true
	for _, a := range s.list[i+1 : j] {
		forth = forth && !slices.Contains(w.succs[l.before], a)
		back = back && !slices.Contains(w.preds[l.after], a)
	}
	switch {
	case forth && (!back || s.random.IntN(2) == 0):
		copy(s.list[i+1:j+1], s.list[i:j])
		s.list[i] = l.before
	case back:
		copy(s.list[i:j], s.list[i+1:j+1])
		s.list[j] = l.after
	}
}

// rivals tells whether two activities need a resource in common.
func (w *network) rivals(a, b int32) bool {
	for _, need := range w.need {
		if needed(need[a])&needed(need[b]) != 0 {
			return true
		}
	}
	return false
}

// needed gives the guard bits of the lanes that are not zero.
func needed(word uint64) uint64 { return (word + ^uint64(guardBits)) & guardBits }
