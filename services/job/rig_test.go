package job

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/catalogue"
	"ramprow/internal/catalogue/demo"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

var monday = time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)

const (
	job1    = "jobs/1"
	car     = "marlow-orrin"   // the rich family
	van     = "dunfell-carrow" // the small one
	vin     = "YMR0RN16ZHA004711"
	feature = "follower-retainer"
)

// loaded are the demo catalogues by id: reading them takes longer than most tests.
var loaded = sync.OnceValue(func() map[string]*catalogue.Catalogue {
	all, err := demo.Catalogues()
	if err != nil {
		panic(err)
	}
	byID := map[string]*catalogue.Catalogue{}
	for _, c := range all {
		byID[c.Message().GetId()] = c
	}
	return byID
})

// fataler is what testing.T and rapid.T have in common.
type fataler interface {
	Helper()
	Fatalf(format string, args ...any)
}

// site is one site's state folded in memory, with a clock that a test sets.
type site struct {
	t   fataler
	st  *State
	now time.Time
	// log is every event so far, with the time at which it came about.
	log []sitelog.Event
}

func newSite(t fataler) *site {
	s := &site{t: t, st: newState("north"), now: monday}
	for _, id := range slices.Sorted(maps.Keys(loaded())) {
		c := loaded()[id]
		s.commit([]proto.Message{&jobv1.CatalogueImported{Catalogue: c.Message(), Version: c.Version(), ImportedBy: "ines"}})
	}
	return s
}

func (s *site) input() sitelog.Input {
	return sitelog.Input{Site: "north", Now: s.now, Actor: sitelog.Actor{Person: "ada"}, NewID: func() string { return fmt.Sprintf("id-%d", len(s.log)) }}
}

func (s *site) commit(events []proto.Message) {
	for _, m := range events {
		e := sitelog.Event{Message: m, Site: "north", Time: s.now, Actor: sitelog.Actor{Person: "ada"}, Number: uint64(len(s.log) + 1)}
		evolve(s.st, e)
		s.log = append(s.log, e)
	}
}

// wait moves the clock.
func (s *site) wait(d time.Duration) *site {
	s.now = s.now.Add(d)
	return s
}

func (s *site) job() *Job { return s.st.jobs[job1] }

// try decides at job 1 as the server does, and commits what was decided.
func (s *site) try(decide decision) ([]proto.Message, error) {
	return s.tryAt(job1, decide)
}

func (s *site) tryAt(name string, decide decision) ([]proto.Message, error) {
	j, err := s.st.openJob(name)
	if err != nil {
		return nil, err
	}
	c, err := s.st.edition(j.Version)
	if err != nil {
		return nil, err
	}
	events, err := decide(j, c, s.input())
	if err != nil {
		return nil, err
	}
	s.commit(events)
	return events, nil
}

// do is try without a refusal.
func (s *site) do(decide decision) []proto.Message {
	s.t.Helper()
	events, err := s.try(decide)
	if err != nil {
		s.t.Fatalf("refused: %v (%s)", err, fault.ReasonOf(err))
	}
	return events
}

// hear takes one event of another service's log.
func (s *site) hear(m proto.Message) []proto.Message {
	s.t.Helper()
	events, err := react(s.st, sitelog.Foreign{Message: m, Site: "north", Time: s.now}, s.input())
	if err != nil {
		s.t.Fatalf("react to %T: %v", m, err)
	}
	s.commit(events)
	return events
}

// names are the events' types, as in StepDone ToolPutOn.
func names(events []proto.Message) string {
	list := make([]string, len(events))
	for i, e := range events {
		list[i] = string(e.ProtoReflect().Descriptor().Name())
	}
	return strings.Join(list, " ")
}

func wantNames(t fataler, events []proto.Message, want string) {
	t.Helper()
	if got := names(events); got != want {
		t.Fatalf("got events %q, want %q", got, want)
	}
}

// wantRefusal demands a reason, and the paths of the fields, if any.
func wantRefusal(t fataler, err error, reason string, fields ...string) {
	t.Helper()
	f, ok := err.(*fault.Error) //nolint:errorlint // decisions give exactly this type
	if !ok || f.Reason != reason || f.Message == "" {
		t.Fatalf("got %v (%s), want %s", err, fault.ReasonOf(err), reason)
	}
	var paths []string
	for _, field := range f.Fields {
		paths = append(paths, field.Path)
	}
	if !slices.Equal(paths, fields) {
		t.Fatalf("%s names the fields %q, want %q", reason, paths, fields)
	}
}

func euros(minor int64) *commonv1.Money {
	return &commonv1.Money{MinorUnits: minor, CurrencyCode: "EUR"}
}

// intake is a manual hatch of March 2020: two designs of the retainer were built then.
func intake() *jobv1.OpenJobRequest {
	return &jobv1.OpenJobRequest{
		Vehicle: &jobv1.Vehicle{
			Vin: vin, Plate: "RP-OR 16", Catalogue: car, OdometerKm: 128_400,
			Features: map[string]string{"body": "hatch", "gearbox": "manual"},
			Built:    timestamppb.New(time.Date(2020, 3, 12, 0, 0, 0, 0, time.UTC)),
		},
		Customer: &jobv1.Customer{Name: "Marta Quell"}, Complaint: " shakes ",
	}
}

func (s *site) open(req *jobv1.OpenJobRequest) []proto.Message {
	s.t.Helper()
	events, err := open(s.st, s.input(), req)
	if err != nil {
		s.t.Fatalf("open: %v", err)
	}
	s.commit(events)
	return events
}

func opened(t fataler) *site {
	s := newSite(t)
	s.open(intake())
	return s
}

func confirming(causes ...string) decision {
	return func(j *Job, c *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, error) {
		return confirm(j, c, in, &jobv1.ConfirmDiagnosisRequest{Causes: causes})
	}
}

func starting(step string) decision {
	return func(j *Job, _ *catalogue.Catalogue, _ sitelog.Input) ([]proto.Message, error) {
		return startStep(j, &jobv1.StartStepRequest{Step: step})
	}
}

func finishing(req *jobv1.FinishStepRequest) decision {
	return func(j *Job, _ *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, error) {
		return finishStep(j, in, req)
	}
}

func finding(req *jobv1.ReportFindingRequest) decision {
	return func(j *Job, c *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, error) {
		return reportFinding(j, c, in, req)
	}
}

func design(value string) decision {
	return finding(&jobv1.ReportFindingRequest{Kind: jobv1.FindingKind_FINDING_KIND_DESIGN, Feature: feature, Value: value})
}

func authorising(minor int64) decision {
	return func(j *Job, _ *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, error) {
		return authorise(j, in, &jobv1.AuthoriseWorkRequest{UpTo: euros(minor), GivenBy: "Marta Quell", How: "telephone"})
	}
}

func reading(moment jobv1.ReadingMoment, codes ...*jobv1.CodeReading) decision {
	return func(j *Job, _ *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, error) {
		return recordCodes(j, in, &jobv1.RecordCodesRequest{Moment: moment, Codes: codes})
	}
}

func driving(passed bool) decision {
	return func(j *Job, _ *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, error) {
		return recordRoadTest(j, in, &jobv1.RecordRoadTestRequest{Passed: passed, DistanceKm: 12})
	}
}

func clearing(j *Job, _ *catalogue.Catalogue, _ sitelog.Input) ([]proto.Message, error) {
	return clearCodes(j)
}

// holdOf is inventory's answer to the job's plan, every line in one state.
func holdOf(j *Job, state inventoryv1.LineState) *inventoryv1.Hold {
	h := &inventoryv1.Hold{Name: "holds/" + numberOf(j.Name), Job: j.Name, PlanRevision: j.Plan.GetRevision(), State: inventoryv1.HoldState_HOLD_STATE_HELD}
	for _, l := range j.Plan.GetParts() {
		h.Lines = append(h.Lines, &inventoryv1.HoldLine{
			Line: l.GetLine(), Part: l.GetPart(), Quantity: l.GetQuantity(), State: state, Feature: l.GetFeature(), Value: l.GetValue(),
		})
	}
	return h
}

const (
	held   = inventoryv1.LineState_LINE_STATE_HELD
	issued = inventoryv1.LineState_LINE_STATE_ISSUED
)

func (s *site) issueAll() {
	s.t.Helper()
	s.hear(&inventoryv1.PartsIssued{Job: job1, Hold: holdOf(s.job(), issued)})
}

func booking(j *Job) *schedulingv1.Booking {
	return &schedulingv1.Booking{
		Name: "bookings/" + numberOf(j.Name), Job: j.Name, Bay: "bays/one", Technician: "people/ada", PlanRevision: j.Plan.GetRevision(),
		When: &commonv1.Interval{Start: timestamppb.New(monday), End: timestamppb.New(monday.Add(4 * time.Hour))},
	}
}

func bookingMade(j *Job) proto.Message { return &schedulingv1.BookingMade{Booking: booking(j)} }

func (s *site) book() { s.t.Helper(); s.hear(bookingMade(s.job())) }

// prove completes the audit of the present plan.
func (s *site) prove() {
	s.t.Helper()
	s.hear(&torqueauditv1.SheetCompleted{
		Job: job1, PlanRevision: s.job().Plan.GetRevision(), Joints: count(s.job().Plan.GetJoints()),
	})
}

// ready is a job on which work can begin: diagnosed, authorised, parts issued, booked.
func ready(t fataler, causes ...string) *site {
	s := opened(t)
	s.do(confirming(causes...))
	s.do(authorising(10_000_00))
	s.issueAll()
	s.book()
	return s
}

// step does one step in ten minutes.
func (s *site) step(id string) {
	s.t.Helper()
	s.do(starting(id))
	s.wait(10 * time.Minute).do(finishing(&jobv1.FinishStepRequest{Step: id}))
}

// work does steps in the plan's order until one is like it; nil: all of them.
// What a look decides is decided as soon as it can be seen.
func (s *site) work(until func(*jobv1.PlannedStep) bool) {
	s.t.Helper()
	for next := s.job().nextStep(); next != nil; next = s.job().nextStep() {
		if until != nil && until(next) {
			return
		}
		s.step(next.GetId())
		if slices.Contains(next.GetShowsFeatures(), feature) {
			s.do(design("carrier"))
			s.issueAll()
		}
	}
}

// proved is a job whose work is done and of which everything is proved.
func proved(t fataler, causes ...string) *site {
	s := ready(t, causes...)
	s.work(nil)
	s.issueAll()
	s.prove()
	s.wait(time.Minute).do(clearing)
	s.wait(time.Minute).do(reading(jobv1.ReadingMoment_READING_MOMENT_AFTER_CLEARING))
	s.wait(time.Minute).do(driving(true))
	s.wait(time.Minute).do(reading(jobv1.ReadingMoment_READING_MOMENT_AFTER_ROAD_TEST))
	return s
}

// close closes a job's invoice.
func (s *site) close(name string) (*jobv1.Invoice, error) {
	var invoice *jobv1.Invoice
	_, err := s.tryAt(name, func(j *Job, c *catalogue.Catalogue, in sitelog.Input) (events []proto.Message, err error) {
		events, invoice, err = closeInvoice(s.st, j, c, in)
		return events, err
	})
	return invoice, err
}

// unmetTypes are the conditions that are not met, in their order.
func (s *site) unmetTypes() string {
	var types []string
	for _, u := range s.job().unmet() {
		types = append(types, u.GetType())
	}
	return strings.Join(types, " ")
}

func wantUnmet(t *testing.T, s *site, want string) {
	t.Helper()
	if got := s.unmetTypes(); got != want {
		t.Fatalf("unmet %q, want %q", got, want)
	}
}
