package scheduling

import (
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// setResource registers a resource or changes it whole, but for its blocks, rosters,
// overtime and maintenance: they have commands of their own.
func (st *State) setResource(req *schedulingv1.SetResourceRequest, in sitelog.Input) ([]proto.Message, *schedulingv1.SetResourceResponse, error) {
	r := req.GetResource()
	if err := checkResource(r); err != nil {
		return nil, nil, err
	}
	old := st.resources[r.GetName()]
	if r.GetRetired() {
		if job := st.begunOn(r.GetName()); job != "" {
			return nil, nil, fault.New(fault.Precondition, "RESOURCE_IN_USE", "work on %s has begun with %s; retire it when that is finished", job, r.GetName()).
				With("resource", r.GetName()).With("job", job)
		}
	}
	r = clone(r)
	r.Blocks, r.Calendar = old.GetBlocks(), old.GetCalendar()
	r.Rosters, r.Overtime, r.Maintenance = old.GetRosters(), old.GetOvertime(), old.GetMaintenance()
	if proto.Equal(old, r) {
		return nil, &schedulingv1.SetResourceResponse{Resource: r}, nil
	}
	d := newDraft(st, in)
	d.add(&schedulingv1.ResourceSet{Resource: r})
	out, err := d.replan(order{cause: r.GetName() + " was changed"})
	return d.unless(req.GetValidateOnly()), &schedulingv1.SetResourceResponse{Resource: r, Changes: out.changes}, err
}

// begunOn gives the job whose begun work holds a resource.
func (st *State) begunOn(name string) string {
	for _, job := range st.jobs() {
		b := st.open[job].booking
		if st.open[job].started() && (b.GetBay() == name || b.GetTechnician() == name || slices.Contains(b.GetTools(), name)) {
			return job
		}
	}
	return ""
}

// checkResource finds what protovalidate cannot say.
func checkResource(r *schedulingv1.Resource) error {
	bad := fault.New(fault.Invalid, "RESOURCE_INVALID", "the resource cannot be used as it is described")
	kind := kindOf(r.GetName())
	if r.GetKind() != kind {
		bad = bad.WithField("resource.kind", "must be %s for a name like %s", kind, r.GetName())
	}
	isPerson := kind == schedulingv1.ResourceKind_RESOURCE_KIND_PERSON
	if (r.GetType() == "") != isPerson {
		bad = bad.WithField("resource.type", "is the kind of a bay or the catalogue's tool, and empty for a person")
	}
	if len(r.GetSkills()) > 0 && !isPerson {
		bad = bad.WithField("resource.skills", "only a person has skills")
	}
	if len(r.GetBlocks()) > 0 {
		bad = bad.WithField("resource.blocks", "are made with BlockResource and stay; leave them out here")
	}
	bad = checkShifts(bad, "resource.shifts", r.GetShifts())
	if len(bad.Fields) > 0 {
		return bad
	}
	return nil
}

func checkShifts(bad *fault.Error, field string, shifts []*schedulingv1.Shift) *fault.Error {
	for i, s := range shifts {
		if s.GetFromMinute() >= s.GetToMinute() {
			bad = bad.WithField(fmt.Sprintf("%s[%d].to_minute", field, i), "must be after from_minute; a shift over midnight is two shifts")
		}
	}
	return bad
}

func kindOf(name string) schedulingv1.ResourceKind {
	switch folder, _, _ := strings.Cut(name, "/"); folder {
	case "bays":
		return schedulingv1.ResourceKind_RESOURCE_KIND_BAY
	case "people":
		return schedulingv1.ResourceKind_RESOURCE_KIND_PERSON
	case "tools":
		return schedulingv1.ResourceKind_RESOURCE_KIND_TOOL
	default:
		return schedulingv1.ResourceKind_RESOURCE_KIND_UNSPECIFIED
	}
}

// blockResource takes a resource out for a time and moves what lies there. Begun
// work stays; it pauses until the block is over.
func (st *State) blockResource(req *schedulingv1.BlockResourceRequest, in sitelog.Input) ([]proto.Message, *schedulingv1.BlockResourceResponse, error) {
	name := req.GetResource()
	if _, ok := st.resources[name]; !ok {
		return nil, nil, noResource(name)
	}
	when := req.GetWhen()
	if !timeOf(when.GetStart()).Before(timeOf(when.GetEnd())) {
		return nil, nil, fault.New(fault.Invalid, "BLOCK_EMPTY", "the block must have a start and end after it").WithField("when.end", "must be after when.start")
	}
	if !timeOf(when.GetEnd()).After(in.Now) {
		return nil, nil, fault.New(fault.Invalid, "BLOCK_PAST", "the block is over already; give an end that is still to come").WithField("when.end", "must be later than now")
	}
	if !suits(req.GetKind(), kindOf(name)) {
		return nil, nil, fault.New(fault.Invalid, "BLOCK_KIND", "leave, illness and training are of people, maintenance and repair of bays and tools; choose another kind or none").
			WithField("kind", "does not suit %s", name)
	}
	d := newDraft(st, in)
	d.add(&schedulingv1.ResourceBlocked{Resource: name, Block: &schedulingv1.Block{
		Id: fmt.Sprintf("block-%d", st.blocks+1), When: when, Reason: req.GetReason(), Kind: req.GetKind(),
	}})
	out, err := d.replan(order{cause: fmt.Sprintf("%s is away (%s)", name, req.GetReason())})
	if err != nil {
		return nil, nil, err
	}
	resp := &schedulingv1.BlockResourceResponse{Resource: d.state.resources[name], Changes: out.changes}
	return d.unless(req.GetValidateOnly()), resp, nil
}

// suits tells whether such a resource can be away for that.
func suits(why schedulingv1.BlockKind, kind schedulingv1.ResourceKind) bool {
	isPerson := kind == schedulingv1.ResourceKind_RESOURCE_KIND_PERSON
	switch why {
	case schedulingv1.BlockKind_BLOCK_KIND_LEAVE, schedulingv1.BlockKind_BLOCK_KIND_ILLNESS, schedulingv1.BlockKind_BLOCK_KIND_TRAINING:
		return isPerson
	case schedulingv1.BlockKind_BLOCK_KIND_MAINTENANCE, schedulingv1.BlockKind_BLOCK_KIND_REPAIR:
		return !isPerson
	case schedulingv1.BlockKind_BLOCK_KIND_UNSPECIFIED:
		return true
	case schedulingv1.BlockKind_BLOCK_KIND_CLOSED_DAY:
	}
	return false
}

// unblockResource gives a resource back early.
func (st *State) unblockResource(req *schedulingv1.UnblockResourceRequest, in sitelog.Input) ([]proto.Message, *schedulingv1.UnblockResourceResponse, error) {
	name := req.GetResource()
	r, ok := st.resources[name]
	if !ok {
		return nil, nil, noResource(name)
	}
	if !slices.ContainsFunc(r.GetBlocks(), func(b *schedulingv1.Block) bool { return b.GetId() == req.GetBlock() }) {
		return nil, nil, fault.New(fault.NotFound, "BLOCK_NOT_FOUND", "%s has no block %s; list the resources to see its blocks", name, req.GetBlock()).
			About("Block", name+"/"+req.GetBlock())
	}
	d := newDraft(st, in)
	d.add(&schedulingv1.ResourceUnblocked{Resource: name, Block: req.GetBlock()})
	out, err := d.replan(order{cause: name + " is back"})
	resp := &schedulingv1.UnblockResourceResponse{Resource: d.state.resources[name], Changes: out.changes}
	return d.unless(req.GetValidateOnly()), resp, err
}

func noResource(name string) error {
	return fault.New(fault.NotFound, "RESOURCE_NOT_FOUND", "there is no %s in this site; register it with SetResource", name).About("Resource", name)
}
