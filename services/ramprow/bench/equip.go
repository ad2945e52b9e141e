package bench

import (
	"context"
	"crypto/rand"
	"fmt"
	"time"

	"ramprow/internal/catalogue/demo"
	"ramprow/internal/platform/identity"
	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// The invented workshop is one of a usual size, whose shelf never runs out: a
// job waits for its turn, never for something that is not there.
const (
	baysPerKind  = 2
	technicians  = 6
	toolsPerType = 3
	stockPerPart = 1_000_000
)

// equip imports a demo catalogue and sets bays, people, tools and parts up, all
// through gRPC.
func (s *stand) equip(ctx context.Context, site string) (*cataloguev1.Catalogue, error) {
	ctx, err := s.as(ctx, site, identity.Owner)
	if err != nil {
		return nil, err
	}
	catalogues, err := demo.Catalogues()
	if err != nil {
		return nil, err
	}
	c := catalogues[0].Message()
	if _, err := s.job.ImportCatalogue(ctx, &jobv1.ImportCatalogueRequest{RequestId: rand.Text(), Catalogue: c}); err != nil {
		return nil, fmt.Errorf("import %s: %w", c.GetId(), err)
	}
	for _, r := range resources(c) {
		if _, err := s.scheduling.SetResource(ctx, &schedulingv1.SetResourceRequest{RequestId: rand.Text(), Resource: r}); err != nil {
			return nil, fmt.Errorf("register %s: %w", r.GetName(), err)
		}
	}
	return c, s.stock(ctx, c)
}

func resources(c *cataloguev1.Catalogue) []*schedulingv1.Resource {
	var all []*schedulingv1.Resource
	add := func(r *schedulingv1.Resource, name string, args ...any) {
		r.Name = fmt.Sprintf(name, args...)
		r.Title = r.GetName()
		all = append(all, r)
	}
	for _, kind := range c.GetBayKinds() {
		for i := range baysPerKind {
			add(&schedulingv1.Resource{Kind: schedulingv1.ResourceKind_RESOURCE_KIND_BAY, Type: kind.GetId()}, "bays/%s-%d", kind.GetId(), i+1)
		}
	}
	var skills []*schedulingv1.Qualification
	for _, skill := range c.GetSkills() {
		skills = append(skills, &schedulingv1.Qualification{Skill: skill.GetId()})
	}
	for i := range technicians {
		add(&schedulingv1.Resource{Kind: schedulingv1.ResourceKind_RESOURCE_KIND_PERSON, Skills: skills}, "people/technician-%d", i+1)
	}
	for _, tool := range c.GetTools() {
		for i := range toolsPerType {
			if tool.GetKind() == cataloguev1.Tool_KIND_SPECIAL {
				add(&schedulingv1.Resource{Kind: schedulingv1.ResourceKind_RESOURCE_KIND_TOOL, Type: tool.GetId()}, "tools/%s-%d", tool.GetId(), i+1)
			}
		}
	}
	return all
}

// stock fills the shelf, as soon as the inventory has heard of the parts.
func (s *stand) stock(ctx context.Context, c *cataloguev1.Catalogue) error {
	var lines []*inventoryv1.ReceivedLine
	for _, p := range c.GetParts() {
		lines = append(lines, &inventoryv1.ReceivedLine{Part: p.GetNumber(), Quantity: stockPerPart})
	}
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for {
		known, err := s.inventory.ListParts(ctx, &inventoryv1.ListPartsRequest{PageSize: 500})
		if err == nil && len(known.GetParts()) >= len(lines) {
			break
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("wait for the parts of %s: %w", c.GetId(), ctx.Err())
		case <-tick.C:
		}
	}
	if _, err := s.inventory.ReceiveGoods(ctx, &inventoryv1.ReceiveGoodsRequest{RequestId: rand.Text(), Lines: lines}); err != nil {
		return fmt.Errorf("fill the shelf: %w", err)
	}
	return nil
}
