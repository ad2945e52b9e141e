package catalogue

import (
	"fmt"
	"slices"
	"strings"

	pb "ramprow/proto/ramprow/catalogue/v1"
)

// effortZero finds work that costs no time at all.
func effortZero(c *content, found report) {
	none := func(effort *pb.ThreePointMinutes) bool { return effort != nil && effort.GetPessimistic() == 0 }
	for i, operation := range c.message.GetOperations() {
		if none(operation.GetEffort()) {
			found(fmt.Sprintf("operations[%d].effort", i), "no work takes 0 minutes; estimate it")
		}
	}
	for i, cause := range c.message.GetCauses() {
		if none(cause.GetRepair().GetEffort()) {
			found(fmt.Sprintf("causes[%d].repair.effort", i), "no repair takes 0 minutes; estimate it")
		}
	}
	for i, test := range c.message.GetTests() {
		if none(test.GetEffort()) {
			found(fmt.Sprintf("tests[%d].effort", i), "no test takes 0 minutes; estimate it")
		}
	}
}

// operationDoesNothing finds operations that open nothing.
func operationDoesNothing(c *content, found report) {
	for i, operation := range c.message.GetOperations() {
		if len(operation.GetTakesOff())+len(operation.GetReaches()) == 0 {
			found(fmt.Sprintf("operations[%d]", i), "it neither takes off nor reaches a piece")
		}
	}
}

// shortCutWithoutRisk finds ways other than the maker's that hide their price.
func shortCutWithoutRisk(c *content, found report) {
	for i, operation := range c.message.GetOperations() {
		if !operation.GetByTheBook() && strings.TrimSpace(operation.GetRisk()) == "" {
			found(fmt.Sprintf("operations[%d].risk", i), "a short cut says what can go wrong; or set by_the_book: true")
		}
	}
}

// blockingCycle finds pieces that wait for each other for ever. A cycle that an
// alternative or a condition leads out of is none: only what stays stuck on
// some car counts.
func blockingCycle(c *content, found report) {
	at := map[string]int{}
	for i, piece := range c.message.GetPieces() {
		at[needsPiece+piece.GetId()] = i
	}
	seen := map[string]bool{}
	for _, o := range c.outcomes {
		for _, piece := range c.message.GetPieces() {
			if o.gone(piece.GetId()) {
				continue
			}
			chain, cycle := o.chain(needsPiece + piece.GetId())
			if !cycle || !slices.ContainsFunc(chain, func(need string) bool { return strings.HasPrefix(need, needsPiece) }) {
				continue
			}
			chain = fromFirst(chain, at)
			if text := arrows(chain); !seen[text] {
				seen[text] = true
				found(c.blockingPath(at[chain[0]], chain[1]), "on %s these wait for each other: %s", o.car, text)
			}
		}
	}
}

// fromFirst turns a cycle so that it begins with the piece that the file
// defines first, and the same cycle always reads the same.
func fromFirst(cycle []string, at map[string]int) []string {
	ring := cycle[:len(cycle)-1]
	first := -1
	for i, need := range ring {
		place, isPiece := at[need]
		if isPiece && (first < 0 || place < at[ring[first]]) {
			first = i
		}
	}
	turned := append(slices.Clone(ring[first:]), ring[:first]...)
	return append(turned, turned[0])
}

// blockingPath gives the place where a piece names what blocks it, or the piece
// where an operation's need does.
func (c *Catalogue) blockingPath(piece int, need string) string {
	for j, blocking := range c.message.GetPieces()[piece].GetBlockedBy() {
		if k := slices.Index(blocking.GetAnyOf(), strings.TrimPrefix(need, needsPiece)); k >= 0 {
			return fmt.Sprintf("pieces[%d].blocked_by[%d].any_of[%d]", piece, j, k)
		}
	}
	return fmt.Sprintf("pieces[%d]", piece)
}

// operationUnreachable finds operations that can be done on no car at all. What
// is stuck in a cycle is left to the rules about cycles.
func operationUnreachable(c *content, found report) {
	for i, operation := range c.message.GetOperations() {
		if len(operation.GetTakesOff())+len(operation.GetReaches()) == 0 {
			continue // doing nothing has a rule of its own
		}
		why := ""
		for _, o := range c.outcomes {
			if o.achievable[operation.GetId()] {
				why = ""
				break
			}
			if !o.available(operation) {
				why = "no car has both its conditions and one of its pieces"
				continue
			}
			chain, cycle := o.chain(o.waitsFor(operation))
			if cycle {
				why = ""
				break
			}
			why = fmt.Sprintf("on %s it waits for %s, and nothing brings that about", o.car, arrows(chain))
		}
		if why != "" {
			found(fmt.Sprintf("operations[%d]", i), "it can never be done: %s", why)
		}
	}
}

// targetUnreachable finds repairs and tests whose pieces, on some car that has
// them, can neither come off nor be reached.
func targetUnreachable(c *content, found report) {
	for i, cause := range c.message.GetCauses() {
		for j, id := range cause.GetRepair().GetTargets() {
			if why := c.neverOpen(id, cause.GetWhen()); why != "" {
				found(fmt.Sprintf("causes[%d].repair.targets[%d]", i, j), "%s", why)
			}
		}
	}
	for i, test := range c.message.GetTests() {
		for j, id := range test.GetNeedsOpen() {
			if why := c.neverOpen(id, nil); why != "" {
				found(fmt.Sprintf("tests[%d].needs_open[%d]", i, j), "%s", why)
			}
		}
	}
}

// neverOpen says on which car a piece can never be got at, and why; or "".
func (c *content) neverOpen(id string, when []*pb.Condition) string {
	for _, o := range c.outcomes {
		if !o.car.meets(when) || o.gone(id) || o.reached[id] {
			continue
		}
		chain, cycle := o.chain(needsPiece + id)
		if cycle {
			continue
		}
		return fmt.Sprintf("on %s nobody can take off or reach it: %s, and nothing leads on", o.car, arrows(chain))
	}
	return ""
}
