package scheduling

import (
	"context"
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/engine/planner"
	"ramprow/internal/platform/command"
	"ramprow/internal/platform/fault"
	commonv1 "ramprow/proto/ramprow/common/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// notOpened is the name in the planner of work for which there is no job yet.
const notOpened = "jobs/0"

// GetEarliestPromise implements the service. The site is planned with the work in
// it, as if its diagnosis were confirmed now; nothing is kept.
func (s *Server) GetEarliestPromise(ctx context.Context, req *schedulingv1.GetEarliestPromiseRequest) (*schedulingv1.GetEarliestPromiseResponse, error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, err
	}
	if req.GetP80() != nil && req.GetP80().AsDuration() < req.GetP50().AsDuration() {
		return nil, fault.New(fault.Invalid, "SPREAD_INVALID", "four cases of five cannot take less than half of them do").
			WithField("p80", "must be at least p50")
	}
	var st *State
	if _, err := s.runner.View(ctx, who.Site, func(state *State) error { st = state.fork(); return nil }); err != nil {
		return nil, err
	}
	return st.earliestPromise(req, s.now())
}

func (st *State) earliestPromise(req *schedulingv1.GetEarliestPromiseRequest, now time.Time) (*schedulingv1.GetEarliestPromiseResponse, error) {
	demand := &schedulingv1.Demand{
		Job: notOpened, Effort: &commonv1.Spread{P50: req.GetP50(), P80: req.GetP80()},
		Skills: req.GetSkills(), Tools: req.GetTools(), BayKinds: req.GetBayKinds(), Priority: req.GetPriority(),
		EarliestStart: req.GetArrives(), PartsEta: req.GetPartsEta(), UntilPartsNeeded: req.GetUntilPartsNeeded(),
	}
	p := st.problem(now, order{})
	p.Jobs = append(p.Jobs, st.planned(&work{demand: demand}, now, order{}))
	plan, err := planner.Make(p)
	if err != nil {
		return nil, err
	}
	outlooks, err := planner.Foresee(p, plan, func(job string) planner.Spread {
		if job == notOpened {
			return spreadIn(demand)
		}
		return st.spread(job)
	})
	if err != nil {
		return nil, err
	}
	for _, u := range plan.Unplaced {
		if u.Job == notOpened {
			return nil, impossible(u)
		}
	}
	resp := &schedulingv1.GetEarliestPromiseResponse{}
	for _, at := range plan.Placements {
		if at.Job == notOpened {
			resp.When, resp.Bay, resp.Technician = interval(at.When.Start, at.When.End), at.Bay, at.Person
			made := st.promiser(outlooks, now).promise(at, false)
			resp.Promised, resp.Reason, resp.PromiseReason = stamp(made.at), at.Why, made.why
		} else if change := st.madeRoom(at); change != nil {
			resp.Changes = append(resp.Changes, change)
		}
	}
	return resp, nil
}

// madeRoom is how a booking would lie elsewhere; nil: it would stay.
func (st *State) madeRoom(at planner.Placement) *schedulingv1.Change {
	b := st.open[at.Job].booking
	to := &schedulingv1.Booking{Name: bookingName(at.Job), Bay: at.Bay, When: interval(at.When.Start, at.When.End), Reason: at.Why}
	if at.Kept || b.GetBay() == to.GetBay() && proto.Equal(b.GetWhen(), to.GetWhen()) {
		return nil
	}
	return changeOf(b, to)
}
