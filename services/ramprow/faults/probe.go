package faults

import (
	"context"
	"fmt"
	"sync"
	"sync/atomic"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/simulation"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
	"ramprow/services/terminal"
)

// prober asks, at the moment of a fault, for one small thing of each role that
// the fault concerns, so that an outage does not seem to last until somebody
// happens to want something.
type prober struct {
	desk

	part, symptom string
	job           string // a car that stands in the yard
	number        atomic.Uint64
}

// prepare opens the car of the job's probes.
func (p *prober) prepare(ctx context.Context, family string) error {
	call := &simulation.Call{Request: simulation.Request{
		Service: terminal.RoleJob, Method: jobv1.JobService_OpenJob_FullMethodName,
		Message: &jobv1.OpenJobRequest{
			RequestId: "probe-open", Vehicle: &jobv1.Vehicle{Vin: "YMR0RN16ZHA004711", Plate: "RP-OR 1", Catalogue: family},
			Customer: &jobv1.Customer{Name: "Marta Quell"}, Complaint: "Waits.",
		},
	}}
	refused, err := p.ask(ctx, call)
	if err != nil || refused {
		return fmt.Errorf("open the probes' job: %w", call.Err)
	}
	response, _ := call.Answer.(*jobv1.OpenJobResponse)
	p.job = response.GetJob().GetName()
	return nil
}

// request is a change that is one each time.
func (p *prober) request(role string) simulation.Request {
	n := p.number.Add(1)
	id, title := fmt.Sprintf("probe-%06d", n), fmt.Sprintf("Spare %d", n)
	ask := func(method string, m proto.Message) simulation.Request {
		return simulation.Request{Service: role, Method: method, Message: m}
	}
	switch role {
	case terminal.RoleInventory:
		return ask(inventoryv1.InventoryService_ReceiveGoods_FullMethodName, &inventoryv1.ReceiveGoodsRequest{
			RequestId: id, Lines: []*inventoryv1.ReceivedLine{{Part: p.part, Quantity: 1}},
		})
	case terminal.RoleScheduling:
		return ask(schedulingv1.SchedulingService_SetResource_FullMethodName, &schedulingv1.SetResourceRequest{
			RequestId: id, Resource: &schedulingv1.Resource{Name: "bays/spare", Kind: schedulingv1.ResourceKind_RESOURCE_KIND_BAY, Title: title, Type: "nobodys"},
		})
	case terminal.RoleAudit:
		return ask(torqueauditv1.TorqueAuditService_SetWrench_FullMethodName, &torqueauditv1.SetWrenchRequest{
			RequestId: id, Wrench: &torqueauditv1.Wrench{Name: "wrenches/spare", Title: title, Kind: torqueauditv1.WrenchKind_WRENCH_KIND_GUN},
		})
	}
	return ask(jobv1.JobService_NoteSymptom_FullMethodName, &jobv1.NoteSymptomRequest{
		RequestId: id, Job: p.job, Symptom: p.symptom, Present: n%2 == 0,
	})
}

// askFor asks for everything that an outage lasts for, at once.
func (p *prober) askFor(ctx context.Context, needs []need, asking *sync.WaitGroup) {
	for _, n := range needs {
		if n.site != p.site {
			continue
		}
		asking.Go(func() {
			// Each has its own turn among the replicas.
			d := desk{town: p.town, tally: p.tally, site: p.site, token: p.token, probe: true}
			if n.reads {
				_, _ = d.look(ctx, p.job, 0) // it fails with ctx, or has told of its failure
				return
			}
			call := &simulation.Call{Request: p.request(n.role)}
			if refused, err := d.ask(ctx, call); err == nil && refused {
				p.tally.violated("a probe of %v was refused: %v", n.seat, whole(call.Err))
			}
		})
	}
}
