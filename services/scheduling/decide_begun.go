package scheduling

import (
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/engine/planner"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// correctBegun changes what may change of begun work: another technician takes
// over, or somebody says in which bay a car stands of which that was not known.
func (st *State) correctBegun(w *work, req *schedulingv1.MoveBookingRequest, in sitelog.Input) ([]proto.Message, *schedulingv1.MoveBookingResponse, error) {
	b := w.booking
	moves := req.GetBay() != "" && b.GetBay() != "" && req.GetBay() != b.GetBay()
	if moves || req.GetStart() != nil || req.GetBay() == "" && req.GetTechnician() == "" {
		return nil, nil, begunStays(w)
	}
	if facts := st.notForBegun(w, req, in.Now); len(facts) > 0 {
		return nil, nil, impossible(&planner.Impossible{Job: req.GetJob(), Facts: facts})
	}
	d := newDraft(st, in)
	out, err := d.replan(order{
		cause: req.GetJob() + " was handed over",
		asked: map[string]asked{req.GetJob(): {wish: planner.Wish{Bay: req.GetBay(), Person: req.GetTechnician()}}},
	})
	if err != nil {
		return nil, nil, err
	}
	resp := &schedulingv1.MoveBookingResponse{
		Booking: d.state.open[req.GetJob()].booking, Changes: out.changes,
		Move: d.remember(st, req.GetValidateOnly(), "the handing over of "+req.GetJob(), req.GetJob()),
	}
	return d.unless(req.GetValidateOnly()), resp, nil
}

// notForBegun gives what stands against a bay or a technician for begun work.
func (st *State) notForBegun(w *work, req *schedulingv1.MoveBookingRequest, now time.Time) []planner.Fact {
	var facts []planner.Fact
	for _, name := range []string{req.GetBay(), req.GetTechnician()} {
		if name == "" {
			continue
		}
		r := st.resources[name]
		if r == nil || r.GetRetired() {
			facts = append(facts, planner.Fact{Kind: missingKind(name), Resource: name, Text: "there is no " + name})
			continue
		}
		if other := st.begunOn(name); other != "" && other != req.GetJob() {
			facts = append(facts, planner.Fact{Kind: planner.FactHeld, Resource: name, Job: other, Text: name + " is held by " + other + " (begun)"})
		}
		if lack := lacks(r, w.demand, now); lack != "" {
			facts = append(facts, planner.Fact{Kind: missingKind(name), Resource: name, Text: lack})
		}
	}
	return facts
}

func missingKind(name string) planner.FactKind {
	if kindOf(name) == schedulingv1.ResourceKind_RESOURCE_KIND_BAY {
		return planner.FactNoBay
	}
	return planner.FactNoPerson
}

// lacks says why a bay or a person does not suit a demand; empty: it does.
func lacks(r *schedulingv1.Resource, d *schedulingv1.Demand, now time.Time) string {
	if r.GetKind() == schedulingv1.ResourceKind_RESOURCE_KIND_BAY {
		if kinds := d.GetBayKinds(); len(kinds) > 0 && !slices.Contains(kinds, r.GetType()) {
			return r.GetName() + " is " + r.GetType() + ", and the work needs " + strings.Join(kinds, " or ")
		}
		return ""
	}
	for _, skill := range d.GetSkills() {
		if !slices.ContainsFunc(r.GetSkills(), func(q *schedulingv1.Qualification) bool {
			return q.GetSkill() == skill && (q.GetExpires() == nil || timeOf(q.GetExpires()).After(now))
		}) {
			return r.GetName() + " has not " + skill
		}
	}
	return ""
}

func begunStays(w *work) error {
	job := w.demand.GetJob()
	return fault.New(fault.Precondition, "BOOKING_STARTED",
		"work on %s has begun in %s; an opened car stays until it is closed, only another technician can take it over", job, orElse(w.booking.GetBay(), "a bay")).
		With("job", job)
}
