package simulate

import (
	"maps"
	"math/rand/v2"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/simulation"
	commonv1 "ramprow/proto/ramprow/common/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// dispatcher moves, keeps and blocks.
func (d *day) dispatcher(r *rand.Rand, id string) simulation.Request {
	job := pick(r, d.jobs).job.GetName()
	switch r.IntN(10) {
	case 6:
		return d.reappoint(r, id, job)
	case 7, 8, 9:
		return d.hours(r, id)
	case 0:
		return ask(boardLog, schedulingv1.SchedulingService_PinBooking_FullMethodName, &schedulingv1.PinBookingRequest{RequestId: id, Job: job, Reason: "promised"})
	case 1:
		return ask(boardLog, schedulingv1.SchedulingService_UnpinBooking_FullMethodName, &schedulingv1.UnpinBookingRequest{RequestId: id, Job: job})
	case 2:
		from := d.began.Add(time.Duration(r.IntN(48)) * time.Hour)
		return ask(boardLog, schedulingv1.SchedulingService_BlockResource_FullMethodName, &schedulingv1.BlockResourceRequest{
			RequestId: id, Resource: pick(r, []string{"bays/pit", "people/malik", "people/tove", "tools/vacuum-filler"}), Reason: "away",
			When: &commonv1.Interval{Start: timestamppb.New(from), End: timestamppb.New(from.Add(time.Duration(1+r.IntN(6)) * time.Hour))},
		})
	case 3:
		for _, block := range sorted(d.blocks) {
			return ask(boardLog, schedulingv1.SchedulingService_UnblockResource_FullMethodName,
				&schedulingv1.UnblockResourceRequest{RequestId: id, Resource: d.blocks[block], Block: block})
		}
	}
	return ask(boardLog, schedulingv1.SchedulingService_MoveBooking_FullMethodName, &schedulingv1.MoveBookingRequest{
		RequestId: id, Job: job, Pin: r.IntN(3) == 0,
		Bay:        pick(r, []string{"", "bays/pit", "bays/four-post"}),
		Technician: pick(r, []string{"", "people/malik", "people/tove"}),
		Start:      pick(r, []*timestamppb.Timestamp{nil, timestamppb.New(d.began.Add(time.Duration(r.IntN(30)) * time.Hour))}),
	})
}

// reappoint hears that a customer is late, or in a hurry.
func (d *day) reappoint(r *rand.Rand, id, job string) simulation.Request {
	later := func() *timestamppb.Timestamp {
		return timestamppb.New(d.began.Add(time.Duration(r.IntN(30)) * time.Hour))
	}
	request := &jobv1.ChangeAppointmentRequest{RequestId: id, Job: job, Reason: "called", Priority: proto.Uint32(uint32(r.IntN(4)))} //nolint:gosec // small
	if r.IntN(2) == 0 {
		request.ExpectedAt = later()
	}
	if r.IntN(2) == 0 {
		request.WantedBy = later()
	}
	return ask(jobLog, jobv1.JobService_ChangeAppointment_FullMethodName, request)
}

// hearBlock remembers blocks, so that they can be taken back.
func (d *day) hearBlock(c *simulation.Call) {
	switch m := c.Answer.(type) {
	case *schedulingv1.BlockResourceResponse:
		for _, b := range m.GetResource().GetBlocks() {
			d.blocks[b.GetId()] = m.GetResource().GetName()
		}
	case *schedulingv1.UnblockResourceResponse:
		if request, ok := c.Message.(*schedulingv1.UnblockResourceRequest); ok {
			delete(d.blocks, request.GetBlock())
		}
	}
}

func sorted(m map[string]string) []string { return slices.Sorted(maps.Keys(m)) }
