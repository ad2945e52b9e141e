package scheduling

import (
	"context"
	"slices"
	"time"

	"ramprow/internal/engine/planner"
	"ramprow/internal/platform/command"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// JudgePlan implements the service. The plan is judged as it stands; nothing is kept.
func (s *Server) JudgePlan(ctx context.Context, _ *schedulingv1.JudgePlanRequest) (*schedulingv1.JudgePlanResponse, error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, err
	}
	var st *State
	if _, err := s.runner.View(ctx, who.Site, func(state *State) error { st = state.fork(); return nil }); err != nil {
		return nil, err
	}
	return st.judge(s.now())
}

func (st *State) judge(now time.Time) (*schedulingv1.JudgePlanResponse, error) {
	p, plan, promised := st.problem(now, order{}), planner.Plan{}, map[string]time.Time{}
	for _, job := range st.jobs() {
		w := st.open[job]
		if !w.onBoard() || !w.placeable() {
			continue
		}
		plan.Placements = append(plan.Placements, placementOf(job, w.booking))
		promised[job] = timeOf(w.booking.GetPromised())
	}
	judged, err := planner.Judge(p, plan, st.spread, promised)
	if err != nil {
		return nil, err
	}
	outlooks, err := planner.Foresee(p, plan, st.spread)
	if err != nil {
		return nil, err
	}
	resp := &schedulingv1.JudgePlanResponse{
		AllHeldPercent: 100 * judged.All, Broken: judged.Broken,
		Learned: st.learnedOf(false, now), LearnedBegun: st.learnedOf(true, now),
	}
	for _, at := range plan.Placements {
		w := st.open[at.Job]
		resp.Bookings = append(resp.Bookings, &schedulingv1.JudgedBooking{
			Job: at.Job, When: w.booking.GetWhen(), Promised: w.booking.GetPromised(), Foreseen: stamp(outlooks[at.Job].P80),
			HeldPercent: 100 * judged.Held[at.Job], Breaks: judged.Began[at.Job],
			LearnedPercent: st.likely(w, outlooks[at.Job].P80, now),
		})
	}
	slices.SortStableFunc(resp.GetBookings(), func(a, b *schedulingv1.JudgedBooking) int {
		return timeOf(a.GetPromised()).Compare(timeOf(b.GetPromised()))
	})
	return resp, nil
}

func placementOf(job string, b *schedulingv1.Booking) planner.Placement {
	c := currentOf(b)
	return planner.Placement{Job: job, Bay: c.Bay, Person: c.Person, Tools: c.Tools, When: c.When}
}

// likely is how many in a hundred earlier promises would have held with as much time from
// what is foreseen to the promise; nil: too few are known.
func (st *State) likely(w *work, foreseen, now time.Time) *float64 {
	past := st.turned(w.started(), now)
	if len(past) < planner.FewestRemembered {
		return nil
	}
	promised := timeOf(w.booking.GetPromised())
	spare := st.hours(earlier(foreseen, promised), latest(foreseen, promised)).Between(foreseen, promised)
	held := 0.0
	for _, t := range past {
		if !t.Open && t.Late <= spare {
			held++
		}
	}
	percent := 100 * held / float64(len(past))
	return &percent
}
