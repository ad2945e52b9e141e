package scheduling_test

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/embedded"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/readmodel"
	"ramprow/internal/platform/rpc"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/memory"
	"ramprow/internal/platform/telemetry"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
	"ramprow/services/scheduling"
)

// patience bounds every wait; nothing waits that long unless it is broken.
const patience = 30 * time.Second

// monday is when the clock of these tests stands.
var monday = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

// rig is the whole service: a runner on the memory log, read models in an
// embedded Redis, a gRPC server on a pipe, and a caller who is the dispatcher.
type rig struct {
	t      *testing.T
	ctx    context.Context
	log    sitelog.Log
	client schedulingv1.SchedulingServiceClient
	calls  int
}

func newRig(t *testing.T) *rig {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	t.Cleanup(cancel)
	log := memory.New()
	runner, err := sitelog.Open(ctx, log, scheduling.Machine(), sitelog.Options{Now: func() time.Time { return monday }})
	must(t, err)
	t.Cleanup(runner.Close)
	redis, err := embedded.StartRedis()
	must(t, err)
	store, err := readmodel.Connect(readmodel.Options{URL: redis.URL()})
	must(t, err)
	projector, err := readmodel.NewProjector(readmodel.Config[*scheduling.State]{Projection: scheduling.Projection(), Log: log, Store: store})
	must(t, err)
	running, stop := context.WithCancel(context.Background())
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		_ = projector.Run(running) // it ends with the context alone
	}()
	t.Cleanup(func() { stop(); <-ended; _ = store.Close(); _ = redis.Close() })
	service := scheduling.NewServer(runner, readmodel.NewViews(projector, projector), func() time.Time { return monday })
	return &rig{t: t, ctx: ctx, log: log, client: schedulingv1.NewSchedulingServiceClient(serve(t, service))}
}

func serve(t *testing.T, service *scheduling.Server) *grpc.ClientConn {
	t.Helper()
	tel, err := telemetry.Start(context.Background(), telemetry.Config{Service: "scheduling", Getenv: func(string) string { return "" }})
	must(t, err)
	key, err := identity.NewKey()
	must(t, err)
	verifier, err := identity.NewVerifier(identity.VerifierConfig{Keys: []ed25519.PublicKey{key.Public()}})
	must(t, err)
	server, err := rpc.NewServer(rpc.ServerConfig{Telemetry: tel, Verifier: verifier})
	must(t, err)
	service.Register(server)
	pipe := rpc.NewPipe()
	served := make(chan error, 1)
	go func() { served <- server.Serve(pipe) }()
	id := identity.Identity{Site: "north", Person: "dora", Roles: []identity.Role{identity.Dispatcher}}
	token, err := identity.NewSigner(identity.SignerConfig{Key: key}).Issue(id, time.Hour, time.Now())
	must(t, err)
	conn, err := rpc.Dial(rpc.ClientConfig{Telemetry: tel, Pipe: pipe, Token: func(context.Context) (string, error) { return token, nil }})
	must(t, err)
	t.Cleanup(func() {
		_ = conn.Close()
		ctx, cancel := context.WithTimeout(context.Background(), patience)
		defer cancel()
		must(t, server.Shutdown(ctx))
		must(t, <-served)
	})
	return conn
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func (r *rig) id() string {
	r.calls++
	return fmt.Sprintf("request-%d", r.calls)
}

// publish writes events into another service's log, as that service would.
func (r *rig) publish(service string, events ...proto.Message) {
	r.t.Helper()
	other, err := sitelog.Open(r.ctx, r.log, sitelog.Machine[int]{
		Service: service, New: func(string) int { return 0 }, Evolve: func(int, sitelog.Event) {},
	}, sitelog.Options{Now: func() time.Time { return monday }})
	must(r.t, err)
	defer other.Close()
	_, err = other.Do(r.ctx, "north", sitelog.Command[int]{
		Method: "test", RequestID: r.id(), Request: events[0],
		Decide: func(int, sitelog.Input) (sitelog.Decision, error) {
			return sitelog.Decision{Events: events, Response: &commonv1.Receipt{}}, nil
		},
	})
	must(r.t, err)
}

func (r *rig) set(name, kind string, number schedulingv1.ResourceKind) *schedulingv1.SetResourceResponse {
	r.t.Helper()
	resp, err := r.client.SetResource(r.ctx, &schedulingv1.SetResourceRequest{
		RequestId: r.id(), Resource: &schedulingv1.Resource{Name: name, Title: name, Kind: number, Type: kind},
	})
	must(r.t, err)
	return resp
}

// plan is two hours of work anywhere.
func (r *rig) plan(job string) {
	r.t.Helper()
	two := durationpb.New(2 * time.Hour)
	r.publish("job", &jobv1.DiagnosisConfirmed{Job: job, Title: "Noise", Plan: &jobv1.Plan{Revision: 1, Effort: &commonv1.Spread{P50: two, P80: two}}})
	r.publish("inventory", &inventoryv1.PartsHeld{Job: job, Hold: &inventoryv1.Hold{Job: job, PlanRevision: 1, State: inventoryv1.HoldState_HOLD_STATE_HELD}})
}

// next waits for the first message of a watch that is wanted.
func (r *rig) next(stream grpc.ServerStreamingClient[schedulingv1.WatchBoardResponse], wanted func(*schedulingv1.WatchBoardResponse) bool) *schedulingv1.WatchBoardResponse {
	r.t.Helper()
	for {
		m, err := stream.Recv()
		must(r.t, err)
		if wanted(m) {
			return m
		}
	}
}

func TestTheServiceOverGRPC(t *testing.T) {
	r := newRig(t)
	watch, err := r.client.WatchBoard(r.ctx, &schedulingv1.WatchBoardRequest{})
	must(t, err)
	r.next(watch, (*schedulingv1.WatchBoardResponse).GetCaughtUp)
	r.set("bays/one", "lift", schedulingv1.ResourceKind_RESOURCE_KIND_BAY)
	r.set("bays/two", "lift", schedulingv1.ResourceKind_RESOURCE_KIND_BAY)
	r.set("people/anna", "", schedulingv1.ResourceKind_RESOURCE_KIND_PERSON)
	r.plan("jobs/1")
	seen := r.next(watch, func(m *schedulingv1.WatchBoardResponse) bool {
		return m.GetBooking().GetState() == schedulingv1.BookingState_BOOKING_STATE_BOOKED
	})

	got, err := r.client.GetBooking(r.ctx, &schedulingv1.GetBookingRequest{Job: "jobs/1", MinRevision: seen.GetRevision()})
	must(t, err)
	if !proto.Equal(got.GetBooking(), seen.GetBooking()) {
		t.Errorf("watched %v, read %v", seen.GetBooking(), got.GetBooking())
	}

	moved, err := r.client.MoveBooking(r.ctx, &schedulingv1.MoveBookingRequest{
		RequestId: "move-0001", Job: "jobs/1", Bay: "bays/two", Start: timestamppb.New(monday.Add(time.Hour)), Pin: true,
	})
	must(t, err)
	again, err := r.client.MoveBooking(r.ctx, &schedulingv1.MoveBookingRequest{
		RequestId: "move-0001", Job: "jobs/1", Bay: "bays/two", Start: timestamppb.New(monday.Add(time.Hour)), Pin: true,
	})
	must(t, err)
	if !again.GetReceipt().GetRepeatedAnswer() || again.GetReceipt().GetRevision() != moved.GetReceipt().GetRevision() {
		t.Errorf("moved with %v, and again with %v", moved.GetReceipt(), again.GetReceipt())
	}

	board, err := r.client.GetBoard(r.ctx, &schedulingv1.GetBoardRequest{
		When:        &commonv1.Interval{Start: timestamppb.New(monday), End: timestamppb.New(monday.Add(12 * time.Hour))},
		MinRevision: moved.GetReceipt().GetRevision(),
	})
	must(t, err)
	if len(board.GetLanes()) != 2 || len(board.GetLanes()[0].GetBookings()) != 0 || len(board.GetLanes()[1].GetBookings()) != 1 {
		t.Fatalf("the board is %v", board)
	}
	if b := board.GetLanes()[1].GetBookings()[0]; !proto.Equal(b, moved.GetBooking()) || !b.GetPinned() {
		t.Errorf("the board shows %v, the move gave %v", b, moved.GetBooking())
	}
	r.next(watch, func(m *schedulingv1.WatchBoardResponse) bool { return m.GetBooking().GetBay() == "bays/two" })
}

func TestListsAndRefusals(t *testing.T) {
	r := newRig(t)
	for i := range 3 {
		r.set(fmt.Sprintf("bays/b%d", i), "lift", schedulingv1.ResourceKind_RESOURCE_KIND_BAY)
	}
	last := r.set("people/anna", "", schedulingv1.ResourceKind_RESOURCE_KIND_PERSON)
	var names []string
	req := &schedulingv1.ListResourcesRequest{PageSize: 2, Kind: schedulingv1.ResourceKind_RESOURCE_KIND_BAY, MinRevision: last.GetReceipt().GetRevision()}
	for {
		page, err := r.client.ListResources(r.ctx, req)
		must(t, err)
		for _, res := range page.GetResources() {
			names = append(names, res.GetName())
		}
		if req.PageToken = page.GetNextPageToken(); req.GetPageToken() == "" {
			break
		}
	}
	if fmt.Sprint(names) != "[bays/b0 bays/b1 bays/b2]" {
		t.Errorf("listed %v", names)
	}

	_, err := r.client.GetBooking(r.ctx, &schedulingv1.GetBookingRequest{Job: "jobs/7"})
	wantReason(t, err, fault.NotFound, "BOOKING_NOT_FOUND")
	_, err = r.client.GetBoard(r.ctx, &schedulingv1.GetBoardRequest{When: &commonv1.Interval{
		Start: timestamppb.New(monday), End: timestamppb.New(monday.AddDate(0, 2, 0)),
	}})
	wantReason(t, err, fault.Invalid, "BOARD_RANGE")
	_, err = r.client.BlockResource(r.ctx, &schedulingv1.BlockResourceRequest{
		RequestId: r.id(), Resource: "bays/none", Reason: "x", When: &commonv1.Interval{Start: timestamppb.New(monday), End: timestamppb.New(monday.Add(time.Hour))},
	})
	wantReason(t, err, fault.NotFound, "RESOURCE_NOT_FOUND")
}

func wantReason(t *testing.T, err error, kind fault.Kind, reason string) {
	t.Helper()
	f, ok := errors.AsType[*fault.Error](err)
	if !ok || f.Kind != kind || f.Reason != reason {
		t.Errorf("got %v, want %s %s", err, kind, reason)
	}
}
