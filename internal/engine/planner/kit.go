package planner

import "slices"

// kit is the pieces of one tool type that can be used at the same times: one is as
// good as another, so a choice names the kit, and the piece is taken when the time
// is known. Choices that named pieces would multiply with every type a job wants.
type kit []int

// kitsOf sorts the tools of a type into kits.
func (s *shop) kitsOf(toolType string) []kit {
	var kits []kit
	for t, tool := range s.problem.Tools {
		if tool.Type != toolType {
			continue
		}
		alike := func(k kit) bool { return tool.Calendar.equal(s.problem.Tools[k[0]].Calendar) }
		if i := slices.IndexFunc(kits, alike); i >= 0 {
			kits[i] = append(kits[i], t)
		} else {
			kits = append(kits, kit{t})
		}
	}
	return kits
}

// toolChoices gives every set of kits with one for each type; a single empty
// set if no tool is wanted. A type that is wanted twice takes two pieces.
func (s *shop) toolChoices(types []string) [][]kit {
	sets := [][]kit{nil}
	for _, toolType := range types {
		var wider [][]kit
		kits := s.kitsOf(toolType)
		for _, set := range sets {
			for _, k := range kits {
				if used := countKit(set, k); used < len(k) {
					wider = append(wider, append(slices.Clone(set), k))
				}
			}
		}
		sets = wider
	}
	return sets
}

func countKit(set []kit, k kit) (n int) {
	for _, other := range set {
		if other[0] == k[0] {
			n++
		}
	}
	return n
}

func twice(set []kit) bool {
	return slices.ContainsFunc(set, func(k kit) bool { return countKit(set, k) > 1 })
}

// pieces gives a choice's tools. Where they are not decided, any of each kit stands
// in: they differ in nothing but in who holds them.
func (c choice) pieces() []int {
	if c.kits == nil {
		return c.tools
	}
	pieces := make([]int, len(c.kits))
	for i, k := range c.kits {
		pieces[i] = k[0]
	}
	return pieces
}

// pick takes a piece of every kit that is free in a span, rather one that the job
// has already. Of a kit without one it gives instead what holds the piece that is
// free first, until then: no later start before that finds a piece either.
func (b *board) pick(job int, kits []kit, within span) (pieces []int, held []obstacle) {
	if len(kits) == 0 {
		return nil, nil
	}
	pieces = make([]int, 0, len(kits))
	for _, k := range kits {
		piece, first := none, obstacle{}
		for _, t := range b.shop.rather(job, k) {
			if slices.Contains(pieces, t) {
				continue
			}
			last, taken := b.lastOn(t, within)
			if !taken {
				piece = t
				break
			}
			if first.resource == "" || last.span.end < first.span.end {
				first = last
			}
		}
		if piece == none {
			held = append(held, first)
			continue
		}
		pieces = append(pieces, piece)
	}
	return pieces, held
}

// rather gives the pieces of a kit with those first that the job has in the plan before.
func (s *shop) rather(job int, k kit) []int {
	cur := s.jobs[job].Current
	if cur == nil || len(k) == 1 {
		return k
	}
	i := slices.IndexFunc(k, func(t int) bool { return slices.Contains(cur.Tools, s.tools[t].name) })
	if i <= 0 {
		return k
	}
	return slices.Concat(k[i:i+1], k[:i], k[i+1:])
}

// lastOn gives what ends last of all that keeps a tool from being used in a span.
func (b *board) lastOn(tool int, within span) (last obstacle, taken bool) {
	b.onTool = blocking(b.onTool[:0], &b.shop.tools[tool], b.tools[tool], within)
	if len(b.onTool) == 0 {
		return obstacle{}, false
	}
	return latest(b.onTool), true
}

// withTools is a choice with the named pieces, if they are of its kits.
func (s *shop) withTools(c choice, names []string) (choice, bool) {
	if len(names) != len(c.kits) {
		return choice{}, false
	}
	var pieces []int
	for _, k := range c.kits {
		i := slices.IndexFunc(k, func(t int) bool {
			return slices.Contains(names, s.tools[t].name) && !slices.Contains(pieces, t)
		})
		if i < 0 {
			return choice{}, false
		}
		pieces = append(pieces, k[i])
	}
	return c.decided(pieces), true
}

// decided is a choice whose pieces are decided.
func (c choice) decided(pieces []int) choice {
	if c.kits != nil {
		c.kits, c.tools, c.twice = nil, pieces, false
	}
	return c
}

// variants are a choice with pieces such that what forbids all of them forbids
// every set of pieces: if nothing that may not be pushed holds some, those; else
// every piece of a kit of which all are held.
func (b *board) variants(job int, c choice) []choice {
	pieces := c.pieces()
	w := b.shop.jobs[job].Wish
	if len(pieces) == 0 || w == nil || w.Start.IsZero() {
		return []choice{c.decided(pieces)}
	}
	end, ok := c.open.finish(at(w.Start), b.shop.work(job))
	if !ok {
		return []choice{c.decided(pieces)}
	}
	within := span{at(w.Start), end}
	free := func(t int) bool {
		b.onTool = blocking(b.onTool[:0], &b.shop.tools[t], b.tools[t], within)
		return !slices.ContainsFunc(b.onTool, func(o obstacle) bool { _, hard := b.hard(o); return hard })
	}
	for i, k := range c.kits {
		j := slices.IndexFunc(k, func(t int) bool { return !slices.Contains(pieces[:i], t) && free(t) })
		if j >= 0 {
			pieces[i] = k[j]
			continue
		}
		var all []choice
		for _, t := range k {
			if !slices.Contains(pieces[:i], t) {
				held := slices.Clone(pieces)
				held[i] = t
				all = append(all, c.decided(held))
			}
		}
		return all
	}
	return []choice{c.decided(pieces)}
}
