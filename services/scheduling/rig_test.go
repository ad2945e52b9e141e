package scheduling

import (
	"fmt"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/readmodel/readmodeltest"
	"ramprow/internal/platform/sitelog"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// monday is a Monday morning at which the shop opens.
var monday = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

// fataler is what testing.T and rapid.T have in common.
type fataler interface {
	Helper()
	Fatalf(format string, args ...any)
}

// shop is a site by pure folding: what is decided is applied at once.
type shop struct {
	t   fataler
	st  *State
	now time.Time
	// log is every event so far, last those of the last step.
	log, last []proto.Message
	events    []sitelog.Event // log with its times
}

func newShop(t fataler) *shop {
	return &shop{t: t, st: newState("north"), now: monday}
}

func (s *shop) input() sitelog.Input {
	return sitelog.Input{Site: "north", Now: s.now, NewID: func() string { return fmt.Sprintf("id-%d", len(s.log)) }}
}

func (s *shop) apply(events []proto.Message) {
	s.last = events
	for _, m := range events {
		s.log = append(s.log, m)
		e := sitelog.Event{Message: m, Site: "north", Time: s.now, Number: uint64(len(s.events) + 1)}
		evolve(s.st, e)
		s.events = append(s.events, e)
	}
}

// hear gives an event of another service to the site.
func (s *shop) hear(m proto.Message) {
	s.t.Helper()
	events, err := react(s.st, sitelog.Foreign{Message: m, Site: "north", Time: s.now}, s.input())
	if back := readmodeltest.Recall(s.t, s.events, err); back != nil {
		s.apply(back)
		s.hear(m)
		return
	}
	if err != nil {
		s.t.Fatalf("react to %T: %v", m, err)
	}
	s.apply(events)
}

// wait lets time pass and fires what becomes due on the way.
func (s *shop) wait(d time.Duration) {
	s.t.Helper()
	until := s.now.Add(d)
	for {
		at, pending := due(s.st)
		if !pending || at.After(until) {
			break
		}
		if at.After(s.now) {
			s.now = at
		}
		events, err := fire(s.st, s.input())
		if err != nil {
			s.t.Fatalf("fire: %v", err)
		}
		s.apply(events)
		if next, ok := due(s.st); ok && !next.After(s.now) {
			s.t.Fatalf("fired at %v and is due again at %v", s.now, next)
		}
	}
	s.now = until
}

func (s *shop) set(r *schedulingv1.Resource) {
	s.t.Helper()
	events, _, err := s.st.setResource(&schedulingv1.SetResourceRequest{Resource: r}, s.input())
	if err != nil {
		s.t.Fatalf("set %s: %v", r.GetName(), err)
	}
	s.apply(events)
}

func (s *shop) booking(job string) *schedulingv1.Booking {
	if w := s.st.open[job]; w != nil {
		return w.booking
	}
	return s.st.ended[job].booking
}

// open is a shop with two lifts and two people who work from eight to five.
func open(t fataler) *shop {
	s := newShop(t)
	s.set(bay("bays/one", "lift"))
	s.set(bay("bays/two", "lift"))
	s.set(person("people/anna", "engine"))
	s.set(person("people/ben", "engine", "refrigerant"))
	return s
}

func bay(name, kind string) *schedulingv1.Resource {
	return &schedulingv1.Resource{Name: name, Title: name, Kind: schedulingv1.ResourceKind_RESOURCE_KIND_BAY, Type: kind}
}

func tool(name, kind string) *schedulingv1.Resource {
	return &schedulingv1.Resource{Name: name, Title: name, Kind: schedulingv1.ResourceKind_RESOURCE_KIND_TOOL, Type: kind}
}

// person works from eight to five on weekdays, with half an hour at noon.
func person(name string, skills ...string) *schedulingv1.Resource {
	r := &schedulingv1.Resource{Name: name, Title: name, Kind: schedulingv1.ResourceKind_RESOURCE_KIND_PERSON}
	for _, s := range skills {
		r.Skills = append(r.Skills, &schedulingv1.Qualification{Skill: s})
	}
	for day := uint32(1); day <= 5; day++ {
		r.Shifts = append(r.Shifts,
			&schedulingv1.Shift{Weekday: day, FromMinute: 8 * 60, ToMinute: 12 * 60},
			&schedulingv1.Shift{Weekday: day, FromMinute: 12*60 + 30, ToMinute: 17 * 60})
	}
	return r
}

func spread(p80 time.Duration) *commonv1.Spread {
	return &commonv1.Spread{Mean: durationpb.New(p80 * 8 / 10), P50: durationpb.New(p80 * 3 / 4), P80: durationpb.New(p80)}
}

// plan takes so long on a lift, with somebody who knows engines.
func plan(revision uint32, p80 time.Duration) *jobv1.Plan {
	return &jobv1.Plan{
		Revision: revision, Effort: spread(p80), Skills: []string{"engine"}, BayKinds: []string{"lift"},
		Phases:           []*jobv1.PhaseEffort{{Phase: jobv1.Phase_PHASE_OPEN, Effort: spread(p80 / 2)}},
		UntilPartsNeeded: durationpb.New(time.Hour),
	}
}

func confirmed(job string, p *jobv1.Plan) *jobv1.DiagnosisConfirmed {
	return &jobv1.DiagnosisConfirmed{Job: job, Plan: p, Title: "Work on " + job}
}

func hold(job string, revision uint32, state inventoryv1.HoldState) *inventoryv1.Hold {
	return &inventoryv1.Hold{Job: job, PlanRevision: revision, State: state}
}

func held(job string, revision uint32) *inventoryv1.PartsHeld {
	return &inventoryv1.PartsHeld{Job: job, Hold: hold(job, revision, inventoryv1.HoldState_HOLD_STATE_HELD)}
}

// short is one missing part, expected at eta; the zero time: nobody knows.
func short(job string, revision uint32, eta time.Time) *inventoryv1.PartsShort {
	h := hold(job, revision, inventoryv1.HoldState_HOLD_STATE_SHORT)
	h.Lines = []*inventoryv1.HoldLine{{Title: "Seal", State: inventoryv1.LineState_LINE_STATE_SHORT, Eta: stamp(eta)}}
	h.Eta = stamp(eta)
	return &inventoryv1.PartsShort{Job: job, Hold: h}
}

// book makes a job of so much work that has its parts.
func (s *shop) book(job string, p80 time.Duration) {
	s.t.Helper()
	s.hear(confirmed(job, plan(1, p80)))
	s.hear(held(job, 1))
}

func began(job string) *jobv1.StepStarted {
	return &jobv1.StepStarted{Job: job, Step: "open.cover", First: true}
}

func done(job string, left time.Duration) *jobv1.StepDone {
	return &jobv1.StepDone{Job: job, Step: "open.cover", Left: spread(left)}
}

// wantWhen demands a booking's bay, start and end, the times as in 'Mon 08:00'.
func wantWhen(t *testing.T, b *schedulingv1.Booking, bay, start, end string) {
	t.Helper()
	const layout = "Mon 15:04"
	got := fmt.Sprintf("%s %s %s", b.GetBay(), timeOf(b.GetWhen().GetStart()).Format(layout), timeOf(b.GetWhen().GetEnd()).Format(layout))
	if want := fmt.Sprintf("%s %s %s", bay, start, end); got != want {
		t.Errorf("%s lies at %s, want %s (%s)", b.GetName(), got, want, b.GetReason())
	}
}

func wantState(t *testing.T, b *schedulingv1.Booking, want schedulingv1.BookingState) {
	t.Helper()
	if b.GetState() != want {
		t.Fatalf("%s is %v (%s), want %v", b.GetName(), b.GetState(), b.GetWaitingFor(), want)
	}
}

func ts(t time.Time) *timestamppb.Timestamp { return timestamppb.New(t) }
