package desk

import (
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// kitView is a job's kit as the clerk walks the bins.
type kitView struct {
	Job    string
	Pick   *inventoryv1.Pick
	Causes []inventoryv1.CountCause
}

// countCauses are offered wherever a shelf differs from the book.
func countCauses() []inventoryv1.CountCause {
	values := inventoryv1.CountCause(0).Descriptor().Values()
	var causes []inventoryv1.CountCause
	for i := range values.Len() {
		if n := values.Get(i).Number(); n != 0 {
			causes = append(causes, inventoryv1.CountCause(n))
		}
	}
	return causes
}

func (v *visit) kit() (kitView, error) {
	r, err := v.d.Services.Inventory.GetPick(v.ctx, &inventoryv1.GetPickRequest{Job: v.job(), MinRevision: v.at()})
	return kitView{Job: v.r.PathValue("job"), Pick: r.GetPick(), Causes: countCauses()}, err
}

func (d *Desk) showKit(v *visit) error {
	kit, err := v.kit()
	if err != nil {
		return err
	}
	return v.render("kit", kit)
}

// kitRefused shows a refusal above the kit, so that the next scan mends it.
func (v *visit) kitRefused(refusal error) error {
	p, status := problemOf(refusal)
	kit, err := v.kit()
	if err != nil || p.Again {
		return refusal
	}
	return v.renderStatus(status, "kit", kit, p)
}

func (v *visit) kitPath() string { return "/shelf/kits/" + v.r.PathValue("job") }

// pickPart keeps a scan; without a quantity it is one piece.
func (d *Desk) pickPart(v *visit) error {
	request := &inventoryv1.PickPartRequest{RequestId: v.requestID(), Job: v.job(), Code: v.form("code")}
	if v.form("quantity") != "" {
		n, err := v.whole("quantity")
		if err != nil {
			return v.kitRefused(err)
		}
		request.Quantity = n
	}
	r, err := d.Services.Inventory.PickPart(v.ctx, request)
	if err != nil {
		return v.kitRefused(err)
	}
	return v.done(v.kitPath(), "picked", r.GetReceipt())
}

// shortPick says that the bin of a line is empty.
func (d *Desk) shortPick(v *visit) error {
	r, err := d.Services.Inventory.ReportShortPick(v.ctx, &inventoryv1.ReportShortPickRequest{
		RequestId: v.requestID(), Job: v.job(), Line: v.form("line"), Cause: causeOf(v.form("cause")), Note: v.form("note"),
	})
	if err != nil {
		return v.kitRefused(err)
	}
	return v.done(v.kitPath(), "short", r.GetReceipt())
}

// causeOf reads a cause as the page sends it; what is none is refused by the service.
func causeOf(name string) inventoryv1.CountCause {
	return inventoryv1.CountCause(inventoryv1.CountCause_value[name])
}

// finishPick hands the kit over, or leaves it where the clerk says.
func (d *Desk) finishPick(v *visit) error {
	r, err := d.Services.Inventory.FinishPick(v.ctx, &inventoryv1.FinishPickRequest{
		RequestId: v.requestID(), Job: v.job(), StageAt: v.form("place"), Partial: v.form("partial") != "",
	})
	if err != nil {
		return v.kitRefused(err)
	}
	if v.form("place") != "" {
		return v.done(v.kitPath(), "staged", r.GetReceipt())
	}
	return v.done("/shelf", "issued", r.GetReceipt())
}

// putAway says that what was picked of a line lies in its bin again.
func (d *Desk) putAway(v *visit) error {
	r, err := d.Services.Inventory.PutPartsAway(v.ctx, &inventoryv1.PutPartsAwayRequest{
		RequestId: v.requestID(), Job: v.job(), Lines: []string{v.form("line")},
	})
	if err != nil {
		return v.kitRefused(err)
	}
	if v.form("back") == "shelf" {
		return v.done("/shelf", "putaway", r.GetReceipt())
	}
	return v.done(v.kitPath(), "putaway", r.GetReceipt())
}
