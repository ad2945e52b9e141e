package demoday

import (
	"context"
	"fmt"

	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/catalogue/demo"
	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

// furnish imports what the workshop knows, and registers what it has.
func (d *day) furnish(ctx context.Context) error {
	var err error
	if d.catalogues, err = demo.Catalogues(); err != nil {
		return err
	}
	for _, c := range d.catalogues {
		if _, err := d.Clients.Job.ImportCatalogue(d.as(ctx, owner), &jobv1.ImportCatalogueRequest{RequestId: once(), Catalogue: c.Message()}); err != nil {
			return fmt.Errorf("import %s: %w", c.Message().GetId(), err)
		}
	}
	for _, r := range d.resources() {
		if _, err := d.Clients.Scheduling.SetResource(d.as(ctx, dispatcher), &schedulingv1.SetResourceRequest{RequestId: once(), Resource: r}); err != nil {
			return fmt.Errorf("register %s: %w", r.GetName(), err)
		}
	}
	d.register = d.wrenches()
	for _, w := range d.register {
		if _, err := d.Clients.Audit.SetWrench(d.as(ctx, owner), &torqueauditv1.SetWrenchRequest{RequestId: once(), Wrench: w}); err != nil {
			return fmt.Errorf("register %s: %w", w.GetName(), err)
		}
	}
	return d.stock(ctx)
}

// resources are six bays, six technicians who all can do everything, and one of each special tool.
func (d *day) resources() []*schedulingv1.Resource {
	var shifts []*schedulingv1.Shift
	for weekday := uint32(1); weekday <= 7; weekday++ {
		shifts = append(shifts, &schedulingv1.Shift{Weekday: weekday, FromMinute: opensAt * 60, ToMinute: closesAt * 60})
	}
	var list []*schedulingv1.Resource
	for i, kind := range []string{"two-post", "two-post", "four-post", "four-post", "pit", "flat"} {
		list = append(list, &schedulingv1.Resource{
			Name: fmt.Sprintf("bays/%d", i+1), Title: fmt.Sprintf("Bay %d", i+1), Kind: schedulingv1.ResourceKind_RESOURCE_KIND_BAY, Type: kind, Shifts: shifts,
		})
	}
	for _, p := range technicians {
		one := &schedulingv1.Resource{Name: "people/" + p.name, Title: p.name, Kind: schedulingv1.ResourceKind_RESOURCE_KIND_PERSON, Shifts: shifts}
		seen := map[string]bool{}
		for _, c := range d.catalogues {
			for _, s := range c.Message().GetSkills() {
				if !seen[s.GetId()] {
					seen[s.GetId()] = true
					one.Skills = append(one.Skills, &schedulingv1.Qualification{Skill: s.GetId()})
				}
			}
		}
		list = append(list, one)
	}
	for _, t := range d.tools(cataloguev1.Tool_KIND_SPECIAL) {
		list = append(list, &schedulingv1.Resource{
			Name: "tools/" + t.GetId(), Title: t.GetTitle(), Kind: schedulingv1.ResourceKind_RESOURCE_KIND_TOOL, Type: t.GetId(),
		})
	}
	return list
}

// tools of some kinds in all catalogues, each once.
func (d *day) tools(kinds ...cataloguev1.Tool_Kind) []*cataloguev1.Tool {
	var list []*cataloguev1.Tool
	seen := map[string]bool{}
	for _, c := range d.catalogues {
		for _, t := range c.Message().GetTools() {
			for _, kind := range kinds {
				if t.GetKind() == kind && !seen[t.GetId()] {
					seen[t.GetId()] = true
					list = append(list, t)
				}
			}
		}
	}
	return list
}

// wrenches are one of each that the catalogues name, calibrated a while ago.
func (d *day) wrenches() []*torqueauditv1.Wrench {
	now := d.Clock.Now()
	var list []*torqueauditv1.Wrench
	for i, t := range d.tools(cataloguev1.Tool_KIND_TORQUE_WRENCH, cataloguev1.Tool_KIND_ANGLE) {
		kind := torqueauditv1.WrenchKind_WRENCH_KIND_SETTING
		switch {
		case t.GetTorqueMaxNm() == 0:
			kind = torqueauditv1.WrenchKind_WRENCH_KIND_ANGLE
		case t.GetMeasuresAngle():
			kind = torqueauditv1.WrenchKind_WRENCH_KIND_TORQUE_ANGLE
		}
		list = append(list, &torqueauditv1.Wrench{
			Name: "wrenches/" + t.GetId(), Title: t.GetTitle(), Kind: kind, Tool: t.GetId(), DeviationPercent: 2,
			MinNm: t.GetTorqueMinNm(), MaxNm: t.GetTorqueMaxNm(), Certificate: fmt.Sprintf("LAB-%d", i+1),
			CalibratedAt: timestamppb.New(now.AddDate(0, -2-i, 0)), CalibrationDue: timestamppb.New(now.AddDate(0, 10-i, 0)),
		})
	}
	return list
}

// stock fills the shelf so that some part runs out every day.
func (d *day) stock(ctx context.Context) error {
	var lines []*inventoryv1.ReceivedLine
	for _, c := range d.catalogues {
		for i, p := range c.Message().GetParts() {
			quantity := int64(6 + i%5*4)
			if p.GetUnit() != commonv1.Unit_UNIT_PIECE {
				quantity = 30_000
			}
			if i%11 != 7 {
				lines = append(lines, &inventoryv1.ReceivedLine{Part: p.GetNumber(), Quantity: quantity})
			}
		}
	}
	// The part master follows the catalogue by event.
	for {
		_, err := d.Clients.Inventory.ReceiveGoods(d.as(ctx, clerk), &inventoryv1.ReceiveGoodsRequest{RequestId: once(), Lines: lines, Note: "opening stock"})
		if err == nil {
			return nil
		}
		if waited := d.Clock.wait(ctx, oneMinute); waited != nil {
			return fmt.Errorf("stock the shelf: %w", err)
		}
	}
}
