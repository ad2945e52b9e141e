package story

import (
	"context"
	"fmt"
	"strings"
	"time"

	"ramprow/internal/catalogue/demo"
	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

// furnish sets an invented workshop up: catalogues, bays, people, tools, shelf, wrenches.
func (t *teller) furnish(ctx context.Context) error {
	for _, step := range []func(context.Context) error{t.importCatalogues, t.introduce, t.register, t.closeDays, t.stock, t.registerWrenches} {
		if err := step(ctx); err != nil {
			return err
		}
	}
	return nil
}

func (t *teller) importCatalogues(ctx context.Context) error {
	catalogues, err := demo.Catalogues()
	if err != nil {
		return err
	}
	for _, c := range catalogues {
		r, err := t.clients.Job.ImportCatalogue(t.as(ctx, owner), &jobv1.ImportCatalogueRequest{RequestId: once(), Catalogue: c.Message()})
		if err != nil {
			return fmt.Errorf("import %s: %w", c.Message().GetId(), err)
		}
		t.say("The owner imports the catalogue %q: %d pieces, %d joints.",
			c.Message().GetTitle(), len(c.Message().GetPieces()), len(c.Message().GetJoints()))
		t.catalogues[c.Message().GetId()] = c
		t.note(r.GetReceipt())
	}
	t.say("%s", t.car().Message().GetNotice())
	return nil
}

// register makes bays, people and one piece of each special tool known.
func (t *teller) register(ctx context.Context) error {
	resources := []*schedulingv1.Resource{
		{Name: "bays/1", Kind: schedulingv1.ResourceKind_RESOURCE_KIND_BAY, Title: "Bay 1, two-post lift", Type: "two-post"},
		{Name: "bays/2", Kind: schedulingv1.ResourceKind_RESOURCE_KIND_BAY, Title: "Bay 2, four-post lift", Type: "four-post"},
		{Name: "bays/3", Kind: schedulingv1.ResourceKind_RESOURCE_KIND_BAY, Title: "Bay 3, pit", Type: "pit"},
	}
	for _, p := range []person{technician, second} {
		resources = append(resources, &schedulingv1.Resource{Name: "people/" + p.name, Kind: schedulingv1.ResourceKind_RESOURCE_KIND_PERSON, Title: p.name, Skills: t.allSkills()})
	}
	for _, c := range t.catalogues {
		for _, tool := range c.Message().GetTools() {
			if tool.GetKind() != cataloguev1.Tool_KIND_SPECIAL {
				continue
			}
			resources = append(resources, &schedulingv1.Resource{Name: "tools/" + tool.GetId(), Kind: schedulingv1.ResourceKind_RESOURCE_KIND_TOOL, Title: tool.GetTitle(), Type: tool.GetId()})
		}
	}
	for _, r := range resources {
		if _, err := t.clients.Scheduling.SetResource(t.as(ctx, dispatcher), &schedulingv1.SetResourceRequest{RequestId: once(), Resource: r}); err != nil {
			return fmt.Errorf("register %s: %w", r.GetName(), err)
		}
	}
	t.say("The dispatcher has 3 bays, 2 technicians and one of each special tool.")
	return nil
}

// closeDays says when the workshop will be closed: far enough ahead that nothing of the story waits for it.
func (t *teller) closeDays(ctx context.Context) error {
	ahead := func(days int) string { return t.now().AddDate(0, 0, days).Format(time.DateOnly) }
	days := []*schedulingv1.ClosedDay{
		{Name: "closed-days/lantern", Title: "Lantern Day", First: ahead(40), Yearly: true},
		{Name: "closed-days/stocktaking", Title: "Stocktaking", First: ahead(64), Last: ahead(65), Kinds: []schedulingv1.ResourceKind{schedulingv1.ResourceKind_RESOURCE_KIND_PERSON}},
	}
	if _, err := t.clients.Scheduling.SetClosedDays(t.as(ctx, dispatcher), &schedulingv1.SetClosedDaysRequest{RequestId: once(), ClosedDays: days}); err != nil {
		return fmt.Errorf("close the workshop: %w", err)
	}
	t.say("The workshop will be closed on %s, and nobody repairs during the %s.", days[0].GetTitle(), strings.ToLower(days[1].GetTitle()))
	return nil
}

func (t *teller) allSkills() []*schedulingv1.Qualification {
	seen := map[string]bool{}
	var skills []*schedulingv1.Qualification
	for _, c := range t.catalogues {
		for _, s := range c.Message().GetSkills() {
			if !seen[s.GetId()] {
				seen[s.GetId()] = true
				skills = append(skills, &schedulingv1.Qualification{Skill: s.GetId()})
			}
		}
	}
	return skills
}

// stock puts enough of every part on the shelf, but none of the one that the
// story will miss.
func (t *teller) stock(ctx context.Context) error {
	var lines []*inventoryv1.ReceivedLine
	for _, p := range t.car().Message().GetParts() {
		if p.GetNumber() == missingPart {
			continue
		}
		quantity := int64(40)
		if p.GetUnit() != commonv1.Unit_UNIT_PIECE {
			quantity = 20_000 // millilitres, grams or millimetres
		}
		lines = append(lines, &inventoryv1.ReceivedLine{Part: p.GetNumber(), Quantity: quantity})
	}
	err := t.await(ctx, "the part list", func(ctx context.Context) (bool, error) {
		r, err := t.clients.Inventory.ListParts(t.as(ctx, clerk), &inventoryv1.ListPartsRequest{PageSize: 500})
		return len(r.GetParts()) >= len(lines), err
	})
	if err != nil {
		return err
	}
	r, err := t.clients.Inventory.ReceiveGoods(t.as(ctx, clerk), &inventoryv1.ReceiveGoodsRequest{RequestId: once(), Lines: lines, Note: "opening stock"})
	if err != nil {
		return fmt.Errorf("stock the shelf: %w", err)
	}
	t.say("The parts clerk puts %d kinds of parts on the shelf. %s is out of stock.", len(lines), missingPart)
	t.note(r.GetReceipt())
	return nil
}

// wrenches of the invented workshop, by the catalogue's tool that each is one of.
var wrenches = []*torqueauditv1.Wrench{
	{Name: "wrenches/w1", Title: "Click wrench 2 to 25 N·m", Kind: torqueauditv1.WrenchKind_WRENCH_KIND_SETTING, MinNm: 2, MaxNm: 25, DeviationPercent: 2, Tool: "wrench-small"},
	{Name: "wrenches/w2", Title: "Click wrench 20 to 120 N·m", Kind: torqueauditv1.WrenchKind_WRENCH_KIND_SETTING, MinNm: 20, MaxNm: 120, DeviationPercent: 2, Tool: "wrench-medium"},
	{Name: "wrenches/w3", Title: "Click wrench 60 to 340 N·m", Kind: torqueauditv1.WrenchKind_WRENCH_KIND_SETTING, MinNm: 60, MaxNm: 340, DeviationPercent: 2, Tool: "wrench-large"},
	{Name: "wrenches/a1", Title: "Torque-angle wrench 10 to 135 N·m", Kind: torqueauditv1.WrenchKind_WRENCH_KIND_TORQUE_ANGLE, MinNm: 10, MaxNm: 135, DeviationPercent: 2, Tool: "angle-wrench"},
	{Name: "wrenches/g1", Title: "Battery ratchet", Kind: torqueauditv1.WrenchKind_WRENCH_KIND_GUN, Tool: "small-gun"},
}

func (t *teller) registerWrenches(ctx context.Context) error {
	for _, w := range wrenches {
		if _, err := t.clients.Audit.SetWrench(t.as(ctx, technician), &torqueauditv1.SetWrenchRequest{RequestId: once(), Wrench: calibrated(w, t.now())}); err != nil {
			return fmt.Errorf("register %s: %w", w.GetName(), err)
		}
	}
	t.say("The technician registers %d wrenches with their calibration.", len(wrenches)-1)
	return nil
}
