package scheduling_test

import (
	"context"
	"fmt"
	"log/slog"
	"strings"
	"testing"
	"time"

	"go.opentelemetry.io/otel/trace/noop"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/embedded"
	"ramprow/internal/platform/lease"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/jetstream"
	commonv1 "ramprow/proto/ramprow/common/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
	"ramprow/services/scheduling"
)

// process is a replica as far as this test needs one: a connection of its own to the broker, a
// lease, writers and an improver.
type process struct {
	t        *testing.T
	log      *jetstream.Log
	keeper   *lease.Keeper
	runner   *sitelog.Runner[*scheduling.State]
	improver *scheduling.Improver
	stop     context.CancelFunc
}

const improvedSite = "north"

func connect(t *testing.T, broker jetstream.InProcess) *jetstream.Log {
	t.Helper()
	log, err := jetstream.Connect(jetstream.Options{InProcess: broker})
	must(t, err)
	t.Cleanup(log.Close)
	return log
}

func startProcess(t *testing.T, broker jetstream.InProcess, name string) *process {
	t.Helper()
	ctx, stop := context.WithCancel(t.Context())
	t.Cleanup(stop)
	p := &process{t: t, log: connect(t, broker), stop: stop}
	part := sitelog.Partition(improvedSite, 0)
	var err error
	p.keeper, err = lease.Start(ctx, lease.Config{
		Store: p.log.Leases(), Group: "scheduling", Parts: []string{part}, Self: lease.Holder{ID: name, Address: name + ":1"},
		TTL: 800 * time.Millisecond, Renew: 200 * time.Millisecond,
	})
	must(t, err)
	clock := func() time.Time { return monday }
	p.runner, err = sitelog.Open(ctx, p.log, scheduling.Machine(), sitelog.Options{
		Now: clock, Active: func(string) bool { return p.keeper.Holds(part) },
	})
	must(t, err)
	t.Cleanup(p.runner.Abandon)
	go func() {
		for {
			select {
			case <-p.keeper.Changed():
				p.runner.Wake()
			case <-ctx.Done():
				return
			}
		}
	}()
	p.improver = scheduling.NewImprover(p.runner, scheduling.ImproverConfig{
		Rounds: 3, Now: clock, Logger: slog.New(slog.DiscardHandler), TracerProvider: noop.NewTracerProvider(),
	})
	go func() { _ = p.improver.Run(ctx) }() // it ends with its context
	return p
}

// die is a crash: the connection is gone, so nothing is written and no lease is renewed.
func (p *process) die() {
	p.log.Close()
	p.stop()
	p.runner.Abandon()
}

// lay books a job two days off, in a workshop where nothing else is.
func (p *process) lay(job string) {
	p.t.Helper()
	effort := &commonv1.Spread{Mean: durationpb.New(time.Hour), P50: durationpb.New(time.Hour), P80: durationpb.New(time.Hour)}
	start := monday.Add(48 * time.Hour)
	number := strings.TrimPrefix(job, "jobs/")
	events := []proto.Message{
		&schedulingv1.ResourceSet{Resource: &schedulingv1.Resource{Name: "bays/" + number, Kind: schedulingv1.ResourceKind_RESOURCE_KIND_BAY}},
		&schedulingv1.ResourceSet{Resource: &schedulingv1.Resource{Name: "people/" + number, Kind: schedulingv1.ResourceKind_RESOURCE_KIND_PERSON}},
		&schedulingv1.DemandNoted{Demand: &schedulingv1.Demand{Job: job, PlanRevision: 1, PartsRevision: 1, PartsKnown: true, Effort: effort}},
		&schedulingv1.BookingMade{Booking: &schedulingv1.Booking{
			Name: "bookings/" + number, Job: job, State: schedulingv1.BookingState_BOOKING_STATE_BOOKED, Bay: "bays/" + number,
			Technician: "people/" + number, When: &commonv1.Interval{Start: timestamppb.New(start), End: timestamppb.New(start.Add(time.Hour))},
		}},
	}
	_, err := p.runner.Do(p.t.Context(), improvedSite, sitelog.Command[*scheduling.State]{
		Method: "lay " + job,
		Decide: func(*scheduling.State, sitelog.Input) (sitelog.Decision, error) {
			return sitelog.Decision{Events: events}, nil
		},
	})
	must(p.t, err)
}

// improvements tells of every booking that an improvement has moved, in the order of the log.
func improvements(t *testing.T, log sitelog.Log) <-chan string {
	t.Helper()
	told := make(chan string, 100)
	go func() {
		_ = log.Follow(t.Context(), sitelog.Subject{Service: "scheduling", Site: improvedSite}, 0, func(r sitelog.Record) error {
			commit, err := sitelog.DecodeCommit(r.Data)
			if err != nil {
				return err
			}
			events, err := sitelog.CommitEvents(commit, r.Sequence)
			for _, e := range events {
				if m, ok := e.Message.(*schedulingv1.BookingMoved); ok && strings.HasPrefix(m.GetReason(), "improved: ") {
					told <- fmt.Sprintf("%s %s", m.GetBooking().GetJob(), m.GetBooking().GetWhen().GetStart().AsTime().Format("Mon 15:04"))
				}
			}
			return err
		}) // it ends with the test
	}()
	return told
}

// TestOneReplicaImproves: two processes over a real broker; the one that holds the lease improves a
// plan once, and the other does so when the first has died, also what the first had not got to.
func TestOneReplicaImproves(t *testing.T) {
	broker, err := embedded.StartNATS(t.TempDir(), embedded.NATSOptions{})
	must(t, err)
	t.Cleanup(func() { embedded.StopNATS(broker) })
	first := startProcess(t, broker, "first")
	told := improvements(t, connect(t, broker))
	patient, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	want := func(what string) {
		t.Helper()
		select {
		case got := <-told:
			if got != what {
				t.Errorf("improved %s, want %s", got, what)
			}
		case <-patient.Done():
			t.Fatalf("nobody improved %s", what)
		}
	}
	first.lay("jobs/1")
	want("jobs/1 Mon 08:05")
	second := startProcess(t, broker, "second")
	first.lay("jobs/2")
	want("jobs/2 Mon 08:05")
	if n := second.improver.Counts().Runs.Load(); n != 0 {
		t.Errorf("who has no lease searched %d times", n)
	}
	first.lay("jobs/3")
	first.die()
	want("jobs/3 Mon 08:05")
	second.lay("jobs/4")
	want("jobs/4 Mon 08:05")

	d, err := second.runner.Describe(t.Context(), improvedSite)
	must(t, err)
	if d.Commits != 8 { // four times a booking and its improvement
		t.Errorf("%d commits, want 8", d.Commits)
	}
	one, two := first.improver.Counts(), second.improver.Counts()
	if n := one.Adopted.Load() + two.Adopted.Load(); n < 3 || n > 4 || two.Adopted.Load() == 0 { // the dying one may not have heard of its last
		t.Errorf("%d improvements were adopted, %d of them by the second", n, two.Adopted.Load())
	}
	if two.Saved.Load() == 0 {
		t.Error("nothing was saved")
	}
}
