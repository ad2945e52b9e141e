package inventory

import (
	"fmt"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/command"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/readmodel/readmodeltest"
	"ramprow/internal/platform/sitelog"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	logv1 "ramprow/proto/ramprow/log/v1"
)

// monday is when the tests begin.
var monday = time.Date(2031, time.March, 3, 8, 0, 0, 0, time.UTC)

// tester is what a test and a property test have in common.
type tester interface {
	Helper()
	Fatalf(format string, args ...any)
}

const mislaid = inventoryv1.CountCause_COUNT_CAUSE_MISLAID

// site is one site's state, driven without any log.
type site struct {
	t       tester
	st      *State
	all     *State // the same, from which nothing leaves
	now     time.Time
	person  string
	history []proto.Message
	events  []sitelog.Event // the same with their times
	number  uint64
}

func newSite(t tester) *site {
	return &site{t: t, st: newState("demo"), all: newState("demo"), now: monday, person: "kim"}
}

func (s *site) input() sitelog.Input {
	return sitelog.Input{Site: "demo", Now: s.now, Actor: sitelog.Actor{Person: s.person}}
}

// commit applies events as the log would.
func (s *site) commit(events []proto.Message) {
	s.number++
	for _, m := range events {
		// A round trip makes sure that nothing is shared with the decision.
		packed, err := proto.Marshal(m)
		if err != nil {
			s.t.Fatalf("encode %T: %v", m, err)
		}
		read := m.ProtoReflect().New().Interface()
		if err := proto.Unmarshal(packed, read); err != nil {
			s.t.Fatalf("decode %T: %v", m, err)
		}
		e := sitelog.Event{Message: read, Site: "demo", Number: s.number, Time: s.now}
		s.evolve(e)
		s.events = append(s.events, e)
		s.history = append(s.history, read)
	}
}

func (s *site) evolve(e sitelog.Event) {
	evolve(s.st, e)
	switch e.Message.(type) {
	case *logv1.Archived, *logv1.Recalled:
	default:
		evolve(s.all, e)
	}
}

// do decides a command twice, since deciding must not change anything, and commits it.
func do[Q command.Request, R proto.Message](s *site, decide func(*State, sitelog.Input, Q) ([]proto.Message, R, error), req Q) (R, error) {
	s.t.Helper()
	events, resp, err := with(decide, req)(s.st, s.input())
	if back := readmodeltest.Recall(s.t, s.events, err); back != nil {
		s.commit(back)
		return do(s, decide, req)
	}
	again, _, err2 := decide(s.st, s.input(), req)
	s.same(events, again)
	if (err == nil) != (err2 == nil) {
		s.t.Fatalf("deciding twice gave %v and %v", err, err2)
	}
	if err == nil {
		s.commit(events)
	}
	return resp, err
}

// must does a command that has to work.
func must[Q command.Request, R proto.Message](s *site, decide func(*State, sitelog.Input, Q) ([]proto.Message, R, error), req Q) R {
	s.t.Helper()
	resp, err := do(s, decide, req)
	if err != nil {
		s.t.Fatalf("%T: %v", req, err)
	}
	return resp
}

// hears gives the site a foreign event, and the events that it brought about.
func (s *site) hears(m proto.Message) []proto.Message {
	s.t.Helper()
	events, err := react(s.st, sitelog.Foreign{Message: m}, s.input())
	if back := readmodeltest.Recall(s.t, s.events, err); back != nil {
		s.commit(back)
		return s.hears(m)
	}
	if err != nil {
		s.t.Fatalf("%T: %v", m, err)
	}
	again, err := react(s.st, sitelog.Foreign{Message: m}, s.input())
	if err != nil {
		s.t.Fatalf("%T the second time: %v", m, err)
	}
	s.same(events, again)
	s.commit(events)
	return events
}

// passes lets time go by, and fires what becomes due on the way.
func (s *site) passes(d time.Duration) {
	s.t.Helper()
	end := s.now.Add(d)
	for {
		at, pending := due(s.st)
		if !pending || at.After(end) {
			break
		}
		s.now = at
		events, err := fire(s.st, s.input())
		if err != nil || len(events) == 0 {
			s.t.Fatalf("fire at %v: %v, %v", at, events, err)
		}
		s.commit(events)
		if next, pending := due(s.st); pending && !next.After(s.now) {
			s.t.Fatalf("fire left %v due at %v", next, s.now)
		}
	}
	s.now = end
}

func (s *site) same(a, b []proto.Message) {
	s.t.Helper()
	if len(a) != len(b) {
		s.t.Fatalf("deciding twice gave %d and %d events", len(a), len(b))
	}
	for i := range a {
		if !proto.Equal(a[i], b[i]) {
			s.t.Fatalf("deciding twice gave %v and %v", a[i], b[i])
		}
	}
}

// Shorthands.

func (s *site) list(numbers ...string) {
	s.t.Helper()
	for _, n := range numbers {
		must(s, setPart, &inventoryv1.SetPartRequest{Part: aPart(n)})
	}
}

func aPart(number string) *inventoryv1.Part {
	return &inventoryv1.Part{
		Number: number, Title: "Part " + number, Unit: commonv1.Unit_UNIT_PIECE,
		Supplier: "northgate", LeadTimeDays: 5, Bin: "A1",
		Cost: &commonv1.Money{MinorUnits: 250, CurrencyCode: "EUR"},
	}
}

func (s *site) receive(number string, quantity int64) *inventoryv1.ReceiveGoodsResponse {
	s.t.Helper()
	return must(s, receiveGoods, &inventoryv1.ReceiveGoodsRequest{
		Lines: []*inventoryv1.ReceivedLine{{Part: number, Quantity: quantity}},
	})
}

func (s *site) orderSeals(quantity int64, expected time.Time) string {
	s.t.Helper()
	return must(s, placeOrder, &inventoryv1.PlaceOrderRequest{Supplier: "northgate", Lines: []*inventoryv1.OrderLine{
		{Part: "SEAL", Quantity: quantity, Expected: timestamppb.New(expected)},
	}}).GetOrder().GetName()
}

// line is a plan's line; a feature is written as in pump=electric.
func line(name, part string, quantity int64) *jobv1.PartWanted {
	return &jobv1.PartWanted{Line: name, Part: part, Title: "Part " + part, Quantity: quantity, Unit: commonv1.Unit_UNIT_PIECE}
}

func either(l *jobv1.PartWanted, feature, value string) *jobv1.PartWanted {
	l.Feature, l.Value = feature, value
	return l
}

func jobName(n int) string { return fmt.Sprintf("jobs/%d", n) }

func confirmed(job int, priority uint32, lines ...*jobv1.PartWanted) *jobv1.DiagnosisConfirmed {
	return &jobv1.DiagnosisConfirmed{Job: jobName(job), Priority: priority, Plan: &jobv1.Plan{Revision: 1, Parts: lines}}
}

func revised(job int, revision uint32, lines ...*jobv1.PartWanted) *jobv1.PlanRevised {
	return &jobv1.PlanRevised{Job: jobName(job), Plan: &jobv1.Plan{Revision: revision, Parts: lines}}
}

func (s *site) doc(job int) *inventoryv1.Hold {
	s.t.Helper()
	h := s.all.holds[jobName(job)]
	if h == nil {
		s.t.Fatalf("%s has no hold", jobName(job))
		return nil
	}
	return h.doc
}

// lineOf gives a line of a job's hold.
func (s *site) lineOf(job int, name string) *inventoryv1.HoldLine {
	s.t.Helper()
	for _, l := range s.doc(job).GetLines() {
		if l.GetLine() == name {
			return l
		}
	}
	s.t.Fatalf("%s has no line %s", jobName(job), name)
	return nil
}

func wantState(t *testing.T, s *site, job int, want inventoryv1.HoldState) {
	t.Helper()
	if got := s.doc(job).GetState(); got != want {
		t.Errorf("the hold of %s is %v, want %v", jobName(job), got, want)
	}
}

func wantLine(t *testing.T, s *site, job int, name string, state inventoryv1.LineState, held int64) {
	t.Helper()
	if l := s.lineOf(job, name); l.GetState() != state || l.GetHeld() != held {
		t.Errorf("line %s of %s is %v with %d held, want %v with %d", name, jobName(job), l.GetState(), l.GetHeld(), state, held)
	}
}

func wantReason(t *testing.T, err error, reason string) {
	t.Helper()
	if fault.ReasonOf(err) != reason {
		t.Errorf("the refusal is %q (%v), want %s", fault.ReasonOf(err), err, reason)
	}
}

// kinds names events, as in PartsHeld.
func kinds(events []proto.Message) []string {
	var names []string
	for _, m := range events {
		names = append(names, string(m.ProtoReflect().Descriptor().Name()))
	}
	return names
}

// proposeOrders lists what to buy, where suppliers have set no terms.
func proposeOrders(questions []question, now time.Time) ([]*inventoryv1.Proposal, error) {
	list, err := shop(questions, nil, now)
	if err != nil {
		return nil, err
	}
	return list.proposals, nil
}
