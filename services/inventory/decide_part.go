package inventory

import (
	"fmt"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/partmaster"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// setPart lists a part or replaces its description. Stock figures in the
// request are ignored: only movements change them.
func setPart(st *State, in sitelog.Input, req *inventoryv1.SetPartRequest) ([]proto.Message, *inventoryv1.SetPartResponse, error) {
	about := describe(req.GetPart())
	if err := checkPart(st, about); err != nil {
		return nil, nil, err
	}
	after := part{}
	if p := st.parts[about.GetNumber()]; p != nil {
		if proto.Equal(p.about, about) {
			return nil, &inventoryv1.SetPartResponse{Part: p.shown()}, nil
		}
		after = *p
	}
	after.about = about
	event := &inventoryv1.PartListed{Part: about, Source: in.Actor.Person}
	return []proto.Message{event}, &inventoryv1.SetPartResponse{Part: after.shown()}, nil
}

// checkPart holds a part to what is known of it and of the others.
func checkPart(st *State, about *inventoryv1.Part) error {
	for _, check := range []func(*State, *inventoryv1.Part) error{
		func(_ *State, about *inventoryv1.Part) error { return checkFigures(about) },
		checkUnit, checkSupersession, checkBarcode,
	} {
		if err := check(st, about); err != nil {
			return err
		}
	}
	return nil
}

// checkBarcode refuses a code that cannot be right, and one that is on another part.
func checkBarcode(st *State, about *inventoryv1.Part) error {
	if about.GetBarcode() == "" {
		return nil
	}
	code, err := partmaster.Code(about.GetBarcode())
	if err != nil {
		return fault.New(fault.Invalid, "BARCODE_INVALID", "the barcode cannot be right: %v", err).WithField("part.barcode", "%v", err)
	}
	if other, taken := st.barcodes[code]; taken && other != about.GetNumber() {
		return fault.New(fault.Precondition, "BARCODE_TAKEN",
			"the barcode %s is on %s already; scan it again, or take it off there first", about.GetBarcode(), other).
			With("part", other).WithField("part.barcode", "%s has it", other)
	}
	return nil
}

// describe keeps of a part what is not a stock figure.
func describe(p *inventoryv1.Part) *inventoryv1.Part {
	about := proto.CloneOf(p)
	about.Name = partName(p.GetNumber())
	about.OnHand, about.Held, about.Available, about.OnOrder, about.Wanted = 0, 0, 0, 0, 0
	about.Value = nil
	return about
}

// maxMoney bounds one price, in minor units, so that a price times any quantity
// that can be ordered fits an int64.
const maxMoney = 1_000_000_000

func checkFigures(p *inventoryv1.Part) error {
	bad := fault.New(fault.Invalid, "PART_INVALID", "the part cannot be listed like this; correct the named fields")
	for path, m := range map[string]*commonv1.Money{"part.price": p.GetPrice(), "part.cost": p.GetCost(), "part.deposit": p.GetDeposit()} {
		if m.GetMinorUnits() < 0 || m.GetMinorUnits() > maxMoney {
			bad.WithField(path, "must lie between 0 and %d minor units", int64(maxMoney))
		}
	}
	for path, q := range map[string]int64{
		"part.price_quantity": p.GetPriceQuantity(), "part.pack": p.GetPack(),
		"part.reorder_point": p.GetReorderPoint(), "part.order_up_to": p.GetOrderUpTo(),
	} {
		if q > maxQuantity {
			bad.WithField(path, "must be at most %d", int64(maxQuantity))
		}
	}
	if p.GetOrderUpTo() > 0 && p.GetOrderUpTo() < p.GetReorderPoint() {
		bad.WithField("part.order_up_to", "%d lies below the reorder point of %d", p.GetOrderUpTo(), p.GetReorderPoint())
	}
	if len(bad.Fields) > 0 {
		return bad
	}
	return nil
}

// checkUnit refuses another unit while figures are kept in the old one.
func checkUnit(st *State, about *inventoryv1.Part) error {
	p := st.parts[about.GetNumber()]
	if p == nil || p.about.GetUnit() == about.GetUnit() || p.onHand == 0 && p.wanted == 0 && p.onOrder == 0 {
		return nil
	}
	return fault.New(fault.Precondition, "UNIT_IN_USE",
		"%s is kept in %s, and %d are on hand, %d wanted and %d on order; bring all to 0 first, or list another number",
		about.GetNumber(), p.about.GetUnit(), p.onHand, p.wanted, p.onOrder).
		With("part", about.GetNumber()).About("Part", partName(about.GetNumber()))
}

// checkSupersession refuses circles, and two successors of one part.
func checkSupersession(st *State, about *inventoryv1.Part) error {
	number, old := about.GetNumber(), about.GetSupersedes()
	if old == "" {
		return nil
	}
	for _, next := range st.chain(number) {
		if next == old {
			return fault.New(fault.Precondition, "SUPERSESSION_CIRCLE",
				"%s is itself a successor of %s, so they would supersede one another; correct the field supersedes", old, number).
				With("part", number).With("supersedes", old).WithField("part.supersedes", "%s", fmt.Sprintf("%s leads back to %s", old, number))
		}
	}
	if other, taken := st.successors[old]; taken && other != number {
		return fault.New(fault.Precondition, "PART_ALREADY_SUPERSEDED",
			"%s is superseded by %s already; let %s supersede that one, or change %s first", old, other, number, other).
			With("part", number).With("supersedes", old).About("Part", partName(other))
	}
	return nil
}
