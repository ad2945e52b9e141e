package invariants

import (
	"maps"
	"slices"

	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// shelf: movements are numbered without a gap and explain what is on hand, and
// after every commit no more of a part is promised than lies there.
func shelf(f *findings, logs Logs, _ []Ack) {
	s := &shelfState{onHand: map[string]int64{}, holds: map[string]*inventoryv1.Hold{}}
	for _, c := range logs["inventory"] {
		for _, events := range c.Events {
			for _, m := range events {
				if moved, ok := m.(*inventoryv1.StockMoved); ok {
					s.move(f, c, moved.GetMovement())
				}
				if of, ok := m.(interface{ GetHold() *inventoryv1.Hold }); ok && of.GetHold() != nil {
					s.holds[of.GetHold().GetJob()] = of.GetHold()
				}
			}
		}
		s.check(f, c)
	}
}

type shelfState struct {
	onHand map[string]int64
	moves  uint64
	holds  map[string]*inventoryv1.Hold
}

func (s *shelfState) move(f *findings, c Commit, m *inventoryv1.Movement) {
	s.moves++
	if m.GetNumber() != s.moves {
		f.add("movement %d at sequence %d should be number %d", m.GetNumber(), c.Sequence, s.moves)
	}
	s.onHand[m.GetPart()] += m.GetQuantity()
	if s.onHand[m.GetPart()] != m.GetOnHandAfter() {
		f.add("movement %d says that %d of %s are on hand; all movements make it %d", m.GetNumber(), m.GetOnHandAfter(), m.GetPart(), s.onHand[m.GetPart()])
	}
}

func (s *shelfState) check(f *findings, c Commit) {
	promised := map[string]int64{}
	for _, h := range s.holds {
		for _, l := range h.GetLines() {
			if l.GetHeld() < 0 {
				f.add("line %s of %s holds %d at sequence %d", l.GetLine(), h.GetJob(), l.GetHeld(), c.Sequence)
			}
			promised[l.GetPart()] += l.GetHeld()
		}
	}
	for _, part := range slices.Sorted(maps.Keys(promised)) {
		if n := promised[part]; n > s.onHand[part] {
			f.add("%d of %s are promised at sequence %d, and %d are on hand", n, part, c.Sequence, s.onHand[part])
		}
	}
	for _, part := range slices.Sorted(maps.Keys(s.onHand)) {
		if n := s.onHand[part]; n < 0 {
			f.add("%d of %s are on hand at sequence %d", n, part, c.Sequence)
		}
	}
}
