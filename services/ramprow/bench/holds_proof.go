package bench

import (
	"context"
	"fmt"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/sitelog"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	"ramprow/services/ramprow/simulate/invariants"
)

// prove reads the whole log, holds it to the rules that every site keeps, and
// then to the fight's own: what is on hand is what was received less what was
// issued, give or take the counts; no hold was ever half made; nothing is left
// behind.
func (f *fight) prove(report *HoldsReport) error {
	var records []sitelog.Record
	err := f.s.log.Read(f.ctx, sitelog.Subject{Service: "inventory", Site: fightSite}, 0, func(r sitelog.Record) error {
		records = append(records, r)
		return nil
	})
	if err != nil {
		return fmt.Errorf("read the log: %w", err)
	}
	logs, err := invariants.Read(records)
	if err != nil {
		return err
	}
	if err := violationsOf(invariants.Check(logs, f.acks)); err != nil {
		return fmt.Errorf("the log breaks its rules: %w", err)
	}
	a := account{onHand: map[string]int64{}, pieces: &report.Pieces}
	for _, c := range logs["inventory"] {
		for i, events := range c.Events {
			command := c.GetEntries()[i].GetCommand()
			a.left = append(a.left, command.GetRequestId())
			if command.GetMethod() == inventoryv1.InventoryService_HoldParts_FullMethodName {
				a.given++
			}
			if err := a.take(events); err != nil {
				return fmt.Errorf("at sequence %d: %w", c.Sequence, err)
			}
		}
	}
	if a.given != report.Given {
		return fmt.Errorf("%d holds were given to callers, and %d are in the log", report.Given, a.given)
	}
	f.rank(a.left)
	for _, n := range a.onHand {
		report.Pieces.OnHand += n
	}
	return f.compare(a.onHand)
}

// account is what the log says, summed up.
type account struct {
	onHand map[string]int64
	pieces *Pieces
	given  int
	left   []string // requests and expired jobs, in the order of the log
}

func (a *account) take(events []proto.Message) error {
	for _, m := range events {
		switch m := m.(type) {
		case *inventoryv1.StockMoved:
			a.onHand[m.GetMovement().GetPart()] += a.pieces.add(m.GetMovement())
		case *inventoryv1.PartsShort:
			return fmt.Errorf("the hold of %s lacks something, and all or nothing was asked for", m.GetJob())
		case *inventoryv1.HoldReleased:
			if m.GetExpired() {
				a.left = append(a.left, m.GetJob())
			}
		case *inventoryv1.PartsHeld:
			if err := whole(m.GetHold()); err != nil {
				return err
			}
		}
	}
	return nil
}

// rank numbers the operations in the order of what they left in the log.
func (f *fight) rank(left []string) {
	byKey := map[string]int{}
	for i, o := range f.history {
		if o.key != "" {
			byKey[o.key] = i
		}
	}
	next := 0
	for _, key := range left {
		if i, known := byKey[key]; known && key != "" {
			next++
			f.history[i].rank = next
		}
	}
}

// whole refuses a hold with a line that is not held in full.
func whole(h *inventoryv1.Hold) error {
	for _, l := range h.GetLines() {
		if l.GetState() == inventoryv1.LineState_LINE_STATE_HELD && l.GetHeld() != l.GetQuantity() {
			return fmt.Errorf("%s is half made: %d of %d of %s", h.GetName(), l.GetHeld(), l.GetQuantity(), l.GetPart())
		}
	}
	return nil
}

// add counts a movement by its kind, and gives what it means for what is on hand.
func (p *Pieces) add(m *inventoryv1.Movement) int64 {
	n := m.GetQuantity()
	switch m.GetKind() {
	case inventoryv1.MovementKind_MOVEMENT_KIND_RECEIVED:
		p.Received += n
	case inventoryv1.MovementKind_MOVEMENT_KIND_ISSUED:
		p.Issued -= n
	case inventoryv1.MovementKind_MOVEMENT_KIND_COUNTED:
		p.Counted += n
	default: // the fight makes no other movements; one would show in the sum
		return 0
	}
	return n
}

// compare holds what the shelf says now to the movements.
func (f *fight) compare(onHand map[string]int64) error {
	for n := range f.c.Parts {
		r, err := again(f, func(ctx context.Context) (*inventoryv1.GetPartResponse, error) {
			return f.s.inventory.GetPart(ctx, &inventoryv1.GetPartRequest{Part: fightPart(n), MinRevision: f.newest()})
		})
		if err != nil {
			return fmt.Errorf("look at %s: %w", fightPart(n), err)
		}
		if p := r.GetPart(); p.GetOnHand() != onHand[p.GetNumber()] || p.GetHeld() != 0 || p.GetWanted() != 0 {
			return fmt.Errorf("%s: %d on hand, %d held and %d wanted; received - issued ± counts make it %d, and every hold has ended",
				p.GetNumber(), p.GetOnHand(), p.GetHeld(), p.GetWanted(), onHand[p.GetNumber()])
		}
	}
	return nil
}

// newest is the revision of the newest answer.
func (f *fight) newest() uint64 {
	newest := uint64(0)
	for _, a := range f.acks {
		if of, is := a.Response.(interface{ GetReceipt() *commonv1.Receipt }); is {
			newest = max(newest, of.GetReceipt().GetRevision())
		}
	}
	return newest
}
