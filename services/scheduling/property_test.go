package scheduling

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	"ramprow/internal/engine/planner"
	"ramprow/internal/engine/planner/check"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// TestBoardIsAlwaysPossible: after whatever was commanded or heard, no bay,
// person or tool is in two places, everything lies where it may, begun work has
// not moved, and what waits says why. The judge is the planner's checker, which
// shares nothing with the planner.
func TestBoardIsAlwaysPossible(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := newShop(t)
		for i := range rapid.IntRange(1, 3).Draw(t, "bays") {
			s.set(bay(fmt.Sprintf("bays/b%d", i), rapid.SampledFrom([]string{"lift", "pit"}).Draw(t, "kind")))
		}
		for i := range rapid.IntRange(1, 3).Draw(t, "people") {
			s.set(person(fmt.Sprintf("people/p%d", i), "engine"))
		}
		s.set(tool("tools/t0", "lock"))
		w := &walk{shop: s, t: t, revisions: map[string]uint32{}, begun: map[string]*schedulingv1.Booking{}}
		for range rapid.IntRange(5, 40).Draw(t, "steps") {
			w.step()
			w.judge()
		}
	})
}

// walk is a random history.
type walk struct {
	*shop
	t         *rapid.T
	revisions map[string]uint32
	begun     map[string]*schedulingv1.Booking
	found     *improvement // not yet handed in
}

func (w *walk) job() string {
	return fmt.Sprintf("jobs/%d", rapid.IntRange(1, 6).Draw(w.t, "job"))
}

func (w *walk) hours(label string, from, to int) time.Duration {
	return time.Duration(rapid.IntRange(from*4, to*4).Draw(w.t, label)) * 15 * time.Minute
}

func (w *walk) step() {
	steps := []func(){
		w.planJob, w.planJob, w.parts, w.parts, w.parts,
		func() { w.hear(began(w.job())) },
		func() { w.hear(done(w.job(), w.hours("left", 0, 10))) },
		func() { w.hear(&jobv1.WorkFinished{Job: w.job()}) },
		func() { w.hear(&jobv1.JobCancelled{Job: w.job(), Reason: "sold"}) },
		func() { w.wait(w.hours("wait", 0, 30)) },
		w.block, w.unblock, w.closeDay, w.openDay, w.roster, w.overtime, w.maintenance, w.move, w.swap, w.undo, w.pin, w.resource, w.look, w.adopt,
	}
	rapid.SampledFrom(steps).Draw(w.t, "step")()
	for _, m := range w.last {
		if started, ok := m.(*schedulingv1.BookingStarted); ok {
			w.begun[started.GetBooking().GetJob()] = started.GetBooking()
		}
	}
}

func (w *walk) planJob() {
	job := w.job()
	w.revisions[job]++
	p := plan(w.revisions[job], w.hours("effort", 0, 20))
	p.BayKinds = rapid.SampledFrom([][]string{nil, {"lift"}, {"lift", "pit"}, {"pit"}}).Draw(w.t, "kinds")
	if rapid.IntRange(0, 3).Draw(w.t, "tool") == 0 {
		p.Tools = []*jobv1.ToolNeed{{Tool: "lock"}}
	}
	if w.revisions[job] > 1 {
		w.hear(&jobv1.PlanRevised{Job: job, Plan: p, Reason: "a crack was found"})
		return
	}
	m := confirmed(job, p)
	m.Priority = rapid.Uint32Range(0, 3).Draw(w.t, "priority")
	if rapid.Bool().Draw(w.t, "wanted") {
		m.WantedBy = ts(w.now.Add(w.hours("wanted by", 0, 60)))
	}
	if rapid.Bool().Draw(w.t, "comes") {
		m.EarliestStart = ts(w.now.Add(w.hours("comes", 0, 40)))
	}
	w.hear(m)
}

func (w *walk) parts() {
	job := w.job()
	revision := rapid.Uint32Range(1, w.revisions[job]+1).Draw(w.t, "parts revision")
	switch rapid.IntRange(0, 3).Draw(w.t, "parts") {
	case 0:
		w.hear(short(job, revision, w.now.Add(w.hours("eta", 0, 50))))
	case 1:
		w.hear(short(job, revision, time.Time{}))
	default:
		w.hear(held(job, revision))
	}
}

func (w *walk) name() string {
	return rapid.SampledFrom(w.st.resourceNames()).Draw(w.t, "resource")
}

func (w *walk) block() {
	start := w.now.Add(w.hours("block", -2, 20))
	events, _, err := w.st.blockResource(&schedulingv1.BlockResourceRequest{
		Resource: w.name(), When: interval(start, start.Add(w.hours("for", 1, 30))), Reason: "repair",
		ValidateOnly: rapid.Bool().Draw(w.t, "only shown"),
	}, w.input())
	w.decided(events, err)
}

func (w *walk) unblock() {
	name := w.name()
	if blocks := w.st.resources[name].GetBlocks(); len(blocks) > 0 {
		events, _, err := w.st.unblockResource(&schedulingv1.UnblockResourceRequest{Resource: name, Block: blocks[0].GetId()}, w.input())
		w.decided(events, err)
	}
}

func (w *walk) day(label string) string {
	return w.now.AddDate(0, 0, rapid.IntRange(-3, 9).Draw(w.t, label)).Format(time.DateOnly)
}

func (w *walk) closeDay() {
	kinds := rapid.SampledFrom([][]schedulingv1.ResourceKind{nil, {schedulingv1.ResourceKind_RESOURCE_KIND_PERSON}, {schedulingv1.ResourceKind_RESOURCE_KIND_BAY}}).Draw(w.t, "closed for")
	events, _, err := w.st.setClosedDays(&schedulingv1.SetClosedDaysRequest{
		ClosedDays: []*schedulingv1.ClosedDay{{
			Name: rapid.SampledFrom([]string{"closed-days/a", "closed-days/b"}).Draw(w.t, "closed"), Title: "Founder's Day",
			First: w.day("closed from"), Yearly: rapid.Bool().Draw(w.t, "yearly"), Kinds: kinds,
		}},
		MovePinned: rapid.Bool().Draw(w.t, "move pinned"), ValidateOnly: rapid.Bool().Draw(w.t, "only shown"),
	}, w.input())
	w.decided(events, err)
}

func (w *walk) openDay() {
	events, _, err := w.st.removeClosedDay(&schedulingv1.RemoveClosedDayRequest{Name: "closed-days/a"}, w.input())
	w.decided(events, err)
}

func (w *walk) roster() {
	name, from := w.name(), w.day("roster from")
	if rapid.Bool().Draw(w.t, "no roster") {
		events, _, err := w.st.removeRoster(&schedulingv1.RemoveRosterRequest{Resource: name, From: from}, w.input())
		w.decided(events, err)
		return
	}
	r := &schedulingv1.Roster{From: from}
	if rapid.Bool().Draw(w.t, "ends") {
		r.Until = w.day("roster until")
	}
	for week := range rapid.Uint32Range(1, 2).Draw(w.t, "weeks") {
		shifts := person("people/any").GetShifts()
		for _, s := range shifts {
			s.FromMinute, s.ToMinute = s.GetFromMinute()-60*week, s.GetToMinute()-60*week
		}
		r.Weeks = append(r.Weeks, &schedulingv1.RosterWeek{Shifts: shifts})
	}
	events, _, err := w.st.setRoster(&schedulingv1.SetRosterRequest{Resource: name, Roster: r}, w.input())
	w.decided(events, err)
}

func (w *walk) overtime() {
	name := w.name()
	if all := w.st.resources[name].GetOvertime(); len(all) > 0 && rapid.Bool().Draw(w.t, "withdraw") {
		events, _, err := w.st.withdrawOvertime(&schedulingv1.WithdrawOvertimeRequest{Resource: name, Overtime: all[0].GetId()}, w.input())
		w.decided(events, err)
		return
	}
	start := w.now.Truncate(time.Hour).Add(w.hours("overtime", 0, 40))
	events, _, err := w.st.planOvertime(&schedulingv1.PlanOvertimeRequest{
		Resource: name, When: interval(start, start.Add(w.hours("longer", 1, 5))), Reason: "much to do",
	}, w.input())
	w.decided(events, err)
}

func (w *walk) maintenance() {
	name := w.name()
	if all := w.st.resources[name].GetMaintenance(); len(all) > 0 && rapid.Bool().Draw(w.t, "end") {
		events, _, err := w.st.endMaintenance(&schedulingv1.EndMaintenanceRequest{Resource: name, Maintenance: all[0].GetId()}, w.input())
		w.decided(events, err)
		return
	}
	if kindOf(name) == schedulingv1.ResourceKind_RESOURCE_KIND_PERSON {
		return // the rules of the request allow bays and tools alone
	}
	events, _, err := w.st.planMaintenance(&schedulingv1.PlanMaintenanceRequest{Resource: name, Maintenance: &schedulingv1.Maintenance{
		Title: "Inspection", First: w.day("maintenance from"), FromMinute: 7 * 60, Minutes: rapid.Uint32Range(30, 240).Draw(w.t, "minutes"),
		EveryDays: rapid.Uint32Range(1, 9).Draw(w.t, "every"),
	}}, w.input())
	w.decided(events, err)
}

func (w *walk) move() {
	req := &schedulingv1.MoveBookingRequest{Job: w.job(), Pin: rapid.Bool().Draw(w.t, "pinned"), ValidateOnly: rapid.Bool().Draw(w.t, "only shown")}
	if rapid.Bool().Draw(w.t, "at") {
		req.Start = ts(w.now.Truncate(time.Hour).Add(w.hours("start", 0, 30)))
	}
	if rapid.Bool().Draw(w.t, "there") {
		req.Bay = "bays/b0"
	}
	if rapid.Bool().Draw(w.t, "with") {
		req.Technician = "people/p0"
	}
	events, _, err := w.st.moveBooking(req, w.input())
	w.decided(events, err)
}

func (w *walk) swap() {
	events, _, err := w.st.swapBookings(&schedulingv1.SwapBookingsRequest{
		Job: w.job(), Other: w.job(), ValidateOnly: rapid.Bool().Draw(w.t, "only shown"),
	}, w.input())
	w.decided(events, err)
}

func (w *walk) undo() {
	events, _, err := w.st.undoMove(&schedulingv1.UndoMoveRequest{ValidateOnly: rapid.Bool().Draw(w.t, "only shown")}, w.input())
	w.decided(events, err)
}

// look finds a better plan, which is handed in at some later time.
func (w *walk) look() {
	found, err := w.st.lookFor(w.now, planner.Search{Seed: rapid.Uint64().Draw(w.t, "seed"), Rounds: 3})
	if err != nil {
		w.t.Fatalf("look: %v", err)
	}
	w.found = found
}

// adopt hands in what was found: nothing that is pinned, was moved by hand or has begun
// moves, and the plan costs less by enough, or stays as it is.
func (w *walk) adopt() {
	if w.found == nil {
		return
	}
	events, saved, err := w.st.adopt(w.found, w.input())
	if err != nil {
		w.t.Fatalf("adopt: %v", err)
	}
	for _, m := range events {
		moved, ok := m.(*schedulingv1.BookingMoved)
		if !ok {
			continue
		}
		b := moved.GetBooking()
		byHand := slices.ContainsFunc(w.st.moves, func(m handMove) bool {
			return m.At.Add(moveKept).After(w.now) && slices.Contains(m.Made.GetJobs(), b.GetJob())
		})
		if old := w.st.open[b.GetJob()]; old.started() || old.booking.GetPinned() || byHand || !strings.HasPrefix(moved.GetReason(), "improved: ") {
			w.t.Errorf("%v was moved: %s", old.booking, moved.GetReason())
		}
	}
	if (saved > 0) != (len(events) > 0) {
		w.t.Errorf("it saves %v by %v", saved, events)
	}
	w.found = nil
	w.apply(events)
}

func (w *walk) pin() {
	job := w.job()
	events, _, err := w.st.pinBooking(&schedulingv1.PinBookingRequest{Job: job}, w.input())
	if rapid.Bool().Draw(w.t, "off") {
		events, _, err = w.st.unpinBooking(&schedulingv1.UnpinBookingRequest{Job: job}, w.input())
	}
	w.decided(events, err)
}

func (w *walk) resource() {
	r := clone(w.st.resources[w.name()])
	r.Blocks, r.Retired = nil, rapid.Bool().Draw(w.t, "retired")
	events, _, err := w.st.setResource(&schedulingv1.SetResourceRequest{Resource: r}, w.input())
	w.decided(events, err)
}

// decided applies what was decided; a refusal is an answer like any other.
func (w *walk) decided(events []proto.Message, err error) {
	if err == nil {
		w.apply(events)
	}
}

func (w *walk) judge() {
	if at, pending := due(w.st); pending && at.Before(w.now) {
		w.t.Fatalf("was due at %v", at)
	}
	for _, v := range check.Plan(w.st.problem(w.now, order{}), w.asPlan()) {
		w.t.Errorf("%v: %v", w.now, v)
	}
	for job, first := range w.begun {
		open := w.st.open[job]
		if open == nil || !open.started() {
			continue
		}
		b := open.booking
		if !proto.Equal(b.GetStartedAt(), first.GetStartedAt()) || !proto.Equal(b.GetWhen().GetStart(), first.GetWhen().GetStart()) ||
			first.GetBay() != "" && b.GetBay() != first.GetBay() {
			w.t.Errorf("%s began as %v and is now %v", job, first, b)
		}
	}
}

// asPlan reads the state as the checker wants it, and looks at what waits.
func (w *walk) asPlan() planner.Plan {
	var p planner.Plan
	for job, open := range w.st.open {
		b := open.booking
		switch {
		case open.started(), open.booked():
			p.Placements = append(p.Placements, planner.Placement{
				Job: job, Bay: b.GetBay(), Person: b.GetTechnician(), Tools: b.GetTools(), Kept: true,
				When: planner.Interval{Start: timeOf(b.GetWhen().GetStart()), End: timeOf(b.GetWhen().GetEnd())},
			})
		case open.demand.GetPlanRevision() == 0:
			if b != nil {
				w.t.Errorf("%s has no plan and a booking: %v", job, b)
			}
		case b.GetState() != schedulingv1.BookingState_BOOKING_STATE_WAITING || b.GetWaitingFor() == "":
			w.t.Errorf("%s waits without a reason: %v", job, b)
		case open.waitsFor() == "":
			p.Unplaced = append(p.Unplaced, &planner.Impossible{Job: job, Facts: []planner.Fact{{Text: b.GetWaitingFor()}}})
		}
	}
	return p
}
