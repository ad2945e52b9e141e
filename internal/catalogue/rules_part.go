package catalogue

import (
	"fmt"
	"strings"

	pb "ramprow/proto/ramprow/catalogue/v1"
)

// pieceRenewedByNothing finds used-once pieces for which no new one can be had.
func pieceRenewedByNothing(c *content, found report) {
	for i, piece := range c.message.GetPieces() {
		if piece.GetFate() == pb.Piece_FATE_RENEW && len(piece.GetRenewedBy()) == 0 {
			found(fmt.Sprintf("pieces[%d].renewed_by", i), "a piece that is renewed names the part that renews it")
		}
	}
}

// supersessionCycle finds parts that replace each other in a ring.
func supersessionCycle(c *content, found report) {
	var numbers []string
	at := map[string]int{}
	for i, part := range c.message.GetParts() {
		numbers = append(numbers, part.GetNumber())
		at[part.GetNumber()] = i
	}
	older := func(number string) []string {
		if part := c.parts[number]; part != nil && c.parts[part.GetSupersedes()] != nil {
			return []string{part.GetSupersedes()}
		}
		return nil
	}
	for _, cycle := range cyclesOf(numbers, older) {
		found(fmt.Sprintf("parts[%d].supersedes", at[cycle[0]]), "parts replace each other: %s", strings.Join(cycle, " ← "))
	}
}

// partUnused finds parts that nothing takes, neither they nor any older or
// newer one of their chain.
func partUnused(c *content, found report) {
	chain := newUnion()
	used := map[string]bool{}
	for _, part := range c.message.GetParts() {
		if part.GetSupersedes() != "" {
			chain.join(part.GetNumber(), part.GetSupersedes())
		}
	}
	for _, ref := range c.references {
		if ref.kind == kindPart && !strings.HasSuffix(ref.path, ".supersedes") {
			used[chain.root(ref.id)] = true
		}
	}
	for i, part := range c.message.GetParts() {
		if !used[chain.root(part.GetNumber())] {
			found(fmt.Sprintf("parts[%d]", i), "no piece, operation or repair takes %q", part.GetNumber())
		}
	}
}

// union groups names that belong together.
type union struct{ parent map[string]string }

func newUnion() *union { return &union{parent: map[string]string{}} }

func (u *union) root(name string) string {
	for u.parent[name] != "" {
		name = u.parent[name]
	}
	return name
}

func (u *union) join(a, b string) {
	if a, b = u.root(a), u.root(b); a != b {
		u.parent[a] = b
	}
}
