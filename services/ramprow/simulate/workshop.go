package simulate

import (
	"fmt"
	"sync"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/catalogue"
	"ramprow/internal/catalogue/demo"
	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/simulation"
	"ramprow/internal/platform/sitelog"
	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

// family is the demo's small catalogue: planning with it takes milliseconds.
const family = "dunfell-carrow"

// morning is when every day begins: a Monday, before the shutters go up.
var morning = time.Date(2026, time.March, 2, 6, 30, 0, 0, time.UTC)

// workshop is what every day begins with: an imported catalogue, bays, people,
// tools, a shelf that is a little short, and wrenches.
type workshop struct {
	catalogue *catalogue.Catalogue
	logs      []sitelog.Record
}

// furnished makes the workshop once per process; it is the same each time.
var furnished = sync.OnceValues(func() (*workshop, error) {
	all, err := demo.Catalogues()
	if err != nil {
		return nil, err
	}
	w := &workshop{}
	for _, c := range all {
		if c.Message().GetId() == family {
			w.catalogue = c
		}
	}
	if w.catalogue == nil {
		return nil, fmt.Errorf("the demo has no catalogue %s", family)
	}
	w.logs, err = simulation.Prepare(simulation.Config{Services: services(), Site: site, Began: morning.AddDate(0, 0, -3)}, furniture(w.catalogue.Message(), morning))
	return w, err
})

func person(name string, role identity.Role) identity.Identity {
	return identity.Identity{Site: site, Person: name, Roles: []identity.Role{role}}
}

var owner = person("ines", identity.Owner)

// furniture is what a workshop is asked to take up before its first day.
func furniture(m *cataloguev1.Catalogue, began time.Time) []simulation.Request {
	list := []simulation.Request{
		ask(jobLog, jobv1.JobService_ImportCatalogue_FullMethodName, &jobv1.ImportCatalogueRequest{RequestId: "import-1", Catalogue: m}),
	}
	for i, r := range resources(m) {
		list = append(list, ask(boardLog, schedulingv1.SchedulingService_SetResource_FullMethodName,
			&schedulingv1.SetResourceRequest{RequestId: fmt.Sprintf("resource-%d", i), Resource: r}))
	}
	for i, one := range wrenches(began) {
		list = append(list, ask(tightenLog, torqueauditv1.TorqueAuditService_SetWrench_FullMethodName,
			&torqueauditv1.SetWrenchRequest{RequestId: fmt.Sprintf("wrench-%d", i), Wrench: one}))
	}
	return append(list, ask(stockLog, inventoryv1.InventoryService_ReceiveGoods_FullMethodName,
		&inventoryv1.ReceiveGoodsRequest{RequestId: "opening-stock", Lines: openingStock(m)}))
}

// openingStock is enough for two or three jobs, so that the next ones are short.
func openingStock(m *cataloguev1.Catalogue) []*inventoryv1.ReceivedLine {
	var lines []*inventoryv1.ReceivedLine
	for _, p := range m.GetParts() {
		lines = append(lines, &inventoryv1.ReceivedLine{Part: p.GetNumber(), Quantity: stockOf(p)})
	}
	return lines
}

// stockOf is what comes of a part at a time, in its unit.
func stockOf(p *cataloguev1.Part) int64 {
	if p.GetUnit() != commonv1.Unit_UNIT_PIECE {
		return 20_000
	}
	return 4
}

// resources are few, so that jobs get into each other's way: two bays of the
// kinds that vans need, two people, one of each special tool.
func resources(m *cataloguev1.Catalogue) []*schedulingv1.Resource {
	var list []*schedulingv1.Resource
	for _, k := range m.GetBayKinds() {
		list = append(list, &schedulingv1.Resource{
			Name: "bays/" + k.GetId(), Title: k.GetTitle(), Kind: schedulingv1.ResourceKind_RESOURCE_KIND_BAY, Type: k.GetId(),
		})
	}
	for _, name := range []string{"tove", "malik"} {
		p := &schedulingv1.Resource{Name: "people/" + name, Title: name, Kind: schedulingv1.ResourceKind_RESOURCE_KIND_PERSON}
		for _, s := range m.GetSkills() {
			p.Skills = append(p.Skills, &schedulingv1.Qualification{Skill: s.GetId()})
		}
		list = append(list, p)
	}
	for _, t := range m.GetTools() {
		if t.GetKind() == cataloguev1.Tool_KIND_SPECIAL {
			list = append(list, &schedulingv1.Resource{
				Name: "tools/" + t.GetId(), Title: t.GetTitle(), Kind: schedulingv1.ResourceKind_RESOURCE_KIND_TOOL, Type: t.GetId(),
			})
		}
	}
	return list
}

func wrenches(began time.Time) []*torqueauditv1.Wrench {
	return []*torqueauditv1.Wrench{
		{
			Name: "wrenches/small", Title: "Click wrench 2 to 25 N·m", Kind: torqueauditv1.WrenchKind_WRENCH_KIND_SETTING, MinNm: 2, MaxNm: 25, DeviationPercent: 2,
			CalibratedAt: timestamppb.New(began.AddDate(0, -3, 0)), CalibrationDue: timestamppb.New(began.AddDate(0, 9, 0)), Certificate: "LAB-1",
		},
		{
			Name: "wrenches/angle", Title: "Torque-angle wrench 10 to 340 N·m", Kind: torqueauditv1.WrenchKind_WRENCH_KIND_TORQUE_ANGLE, MinNm: 10, MaxNm: 340, DeviationPercent: 2,
			CalibratedAt: timestamppb.New(began.AddDate(0, -3, 0)), CalibrationDue: timestamppb.New(began.AddDate(0, 9, 0)), Certificate: "LAB-2",
		},
	}
}

// ask makes a request of the owner, who may do everything.
func ask(log, method string, message proto.Message) simulation.Request {
	return simulation.Request{Service: log, Method: method, Message: message, Who: owner}
}
