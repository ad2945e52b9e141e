package inventory

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"slices"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

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
)

// patience bounds every wait; nothing waits that long unless it is broken.
const patience = 30 * time.Second

// rig is the whole service: a runner on the memory log, read models in an
// embedded Redis, and a gRPC server on a pipe.
type rig struct {
	t      *testing.T
	ctx    context.Context
	log    *memory.Log
	clerk  inventoryv1.InventoryServiceClient
	buying inventoryv1.BuyingServiceClient // as the clerk
	// technician may look, but not change anything.
	technician inventoryv1.InventoryServiceClient
	calls      int
}

func check(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func onMonday() time.Time { return monday }

func newRig(t *testing.T) *rig {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	t.Cleanup(cancel)
	log := memory.New()
	runner, err := sitelog.Open(ctx, log, Machine(), sitelog.Options{Now: onMonday})
	check(t, err)
	t.Cleanup(runner.Close)
	redis, err := embedded.StartRedis()
	check(t, err)
	store, err := readmodel.Connect(readmodel.Options{URL: redis.URL()})
	check(t, err)
	projector, err := readmodel.NewProjector(readmodel.Config[*State]{Projection: Projection(), Log: log, Store: store})
	check(t, err)
	running, stop := context.WithCancel(context.Background())
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		_ = projector.Run(running) // it ends with the context alone
	}()
	t.Cleanup(func() { stop(); <-ended; _ = store.Close(); _ = redis.Close() })
	service := NewServer(runner, readmodel.NewViews(projector, projector), onMonday)
	clerk, technician := serve(t, service)
	return &rig{
		t: t, ctx: ctx, log: log,
		clerk:      inventoryv1.NewInventoryServiceClient(clerk),
		buying:     inventoryv1.NewBuyingServiceClient(clerk),
		technician: inventoryv1.NewInventoryServiceClient(technician),
	}
}

func serve(t *testing.T, service *Server) (clerk, technician *grpc.ClientConn) {
	t.Helper()
	tel, err := telemetry.Start(context.Background(), telemetry.Config{Service: Service, Getenv: func(string) string { return "" }})
	check(t, err)
	key, err := identity.NewKey()
	check(t, err)
	verifier, err := identity.NewVerifier(identity.VerifierConfig{Keys: []ed25519.PublicKey{key.Public()}})
	check(t, err)
	server, err := rpc.NewServer(rpc.ServerConfig{Telemetry: tel, Verifier: verifier})
	check(t, err)
	service.Register(server)
	pipe := rpc.NewPipe()
	served := make(chan error, 1)
	go func() { served <- server.Serve(pipe) }()
	dial := func(person string, role identity.Role) *grpc.ClientConn {
		token, err := identity.NewSigner(identity.SignerConfig{Key: key}).
			Issue(identity.Identity{Site: "north", Person: person, Roles: []identity.Role{role}}, time.Hour, time.Now())
		check(t, err)
		conn, err := rpc.Dial(rpc.ClientConfig{Telemetry: tel, Pipe: pipe, Token: func(context.Context) (string, error) { return token, nil }})
		check(t, err)
		t.Cleanup(func() { _ = conn.Close() })
		return conn
	}
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), patience)
		defer cancel()
		check(t, server.Shutdown(ctx))
		check(t, <-served)
	})
	return dial("kim", identity.PartsClerk), dial("tom", identity.Technician)
}

func (r *rig) id() string {
	r.calls++
	return fmt.Sprintf("request-%d", r.calls)
}

// quiet is a service of which only its log matters.
func quiet(ctx context.Context, log sitelog.Log, service string) (*sitelog.Runner[int], error) {
	return sitelog.Open(ctx, log, sitelog.Machine[int]{
		Service: service, New: func(string) int { return 0 }, Evolve: func(int, sitelog.Event) {},
	}, sitelog.Options{Now: onMonday})
}

// publish writes one event into another service's log, as that service would.
func publish(ctx context.Context, other *sitelog.Runner[int], id string, event proto.Message) error {
	_, err := other.Do(ctx, "north", sitelog.Command[int]{
		Method: "test", RequestID: id, Request: event,
		Decide: func(int, sitelog.Input) (sitelog.Decision, error) {
			return sitelog.Decision{Events: []proto.Message{event}, Response: &commonv1.Receipt{}}, nil
		},
	})
	return err
}

func (r *rig) jobSays(event proto.Message) {
	r.t.Helper()
	other, err := quiet(r.ctx, r.log, jobService)
	check(r.t, err)
	defer other.Close()
	check(r.t, publish(r.ctx, other, r.id(), event))
}

func (r *rig) set(p *inventoryv1.Part) uint64 {
	r.t.Helper()
	resp, err := r.clerk.SetPart(r.ctx, &inventoryv1.SetPartRequest{RequestId: r.id(), Part: p})
	check(r.t, err)
	return resp.GetReceipt().GetRevision()
}

func (r *rig) receives(number string, quantity int64) *inventoryv1.ReceiveGoodsResponse {
	r.t.Helper()
	resp, err := r.clerk.ReceiveGoods(r.ctx, &inventoryv1.ReceiveGoodsRequest{
		RequestId: r.id(), Lines: []*inventoryv1.ReceivedLine{{Part: number, Quantity: quantity}},
	})
	check(r.t, err)
	return resp
}

// until watches until something is as wanted, and gives the last message.
func (r *rig) until(wanted func(*inventoryv1.WatchPartsResponse) bool) *inventoryv1.WatchPartsResponse {
	r.t.Helper()
	stream, err := r.technician.WatchParts(r.ctx, &inventoryv1.WatchPartsRequest{})
	check(r.t, err)
	for {
		m, err := stream.Recv()
		check(r.t, err)
		if wanted(m) {
			return m
		}
	}
}

func TestAJobFromPlanToReturn(t *testing.T) {
	r := newRig(t)
	r.set(aPart("SEAL"))
	r.set(aPart("BOLT"))
	r.receives("BOLT", 10)
	r.jobSays(confirmed(7, 0, line("seal", "SEAL", 1), line("bolt", "BOLT", 8)))
	r.until(func(m *inventoryv1.WatchPartsResponse) bool { return m.GetHold().GetState() == stateShort })

	proposals, err := r.clerk.ProposeOrders(r.ctx, &inventoryv1.ProposeOrdersRequest{})
	check(t, err)
	if len(proposals.GetProposals()) != 1 || proposals.GetProposals()[0].GetPart() != "SEAL" {
		t.Fatalf("proposed %v", proposals)
	}
	placed, err := r.clerk.PlaceOrder(r.ctx, &inventoryv1.PlaceOrderRequest{
		RequestId: r.id(), Supplier: "northgate", Lines: []*inventoryv1.OrderLine{{Part: "SEAL", Quantity: 2}},
	})
	check(t, err)
	confirmedOrder, err := r.clerk.ConfirmOrder(r.ctx, &inventoryv1.ConfirmOrderRequest{
		RequestId: r.id(), Order: placed.GetOrder().GetName(), Lines: []*inventoryv1.OrderLine{orderLine("SEAL", 2, day(3))},
	})
	check(t, err)
	hold, err := r.technician.GetHold(r.ctx, &inventoryv1.GetHoldRequest{Job: "jobs/7", MinRevision: confirmedOrder.GetReceipt().GetRevision()})
	check(t, err)
	if h := hold.GetHold(); !h.GetEtaOrdered() || !h.GetEta().AsTime().Equal(day(3)) {
		t.Errorf("after the confirmation: %v", h)
	}
	got, err := r.clerk.ReceiveGoods(r.ctx, &inventoryv1.ReceiveGoodsRequest{
		RequestId: r.id(), Order: placed.GetOrder().GetName(), Lines: []*inventoryv1.ReceivedLine{{Part: "SEAL", Quantity: 2}},
	})
	check(t, err)
	if !slices.Equal(got.GetJobsServed(), []string{"jobs/7"}) {
		t.Errorf("served %v", got.GetJobsServed())
	}
	issued, err := r.clerk.IssueParts(r.ctx, &inventoryv1.IssuePartsRequest{RequestId: r.id(), Job: "jobs/7"})
	check(t, err)
	if issued.GetHold().GetState() != stateSettled {
		t.Errorf("after the issue: %v", issued.GetHold())
	}
	returned, err := r.clerk.ReturnParts(r.ctx, &inventoryv1.ReturnPartsRequest{RequestId: r.id(), Job: "jobs/7", Lines: []string{"bolt"}})
	check(t, err)
	r.whyTenBolts(returned.GetReceipt().GetRevision())
}

// whyTenBolts asks for the movements behind what is on hand.
func (r *rig) whyTenBolts(revision uint64) {
	r.t.Helper()
	part, err := r.technician.GetPart(r.ctx, &inventoryv1.GetPartRequest{Part: "BOLT", MinRevision: revision})
	check(r.t, err)
	var got []int64
	var sum int64
	token := ""
	for {
		page, err := r.clerk.ListMovements(r.ctx, &inventoryv1.ListMovementsRequest{Part: "BOLT", PageSize: 2, PageToken: token, MinRevision: revision})
		check(r.t, err)
		for _, m := range page.GetMovements() {
			got = append(got, m.GetQuantity())
			sum += m.GetQuantity()
		}
		if token = page.GetNextPageToken(); token == "" {
			break
		}
	}
	if !slices.Equal(got, []int64{8, -8, 10}) || sum != part.GetPart().GetOnHand() {
		r.t.Errorf("the movements, newest first, are %v; on hand are %d", got, part.GetPart().GetOnHand())
	}
}

func TestListsArePaged(t *testing.T) {
	r := newRig(t)
	var revision uint64
	for i := range 5 {
		p := aPart(fmt.Sprintf("F-%d", i))
		if i%2 == 0 {
			p.ReorderPoint = 1
		}
		revision = r.set(p)
	}
	revision = max(revision, r.set(aPart("G-1")))
	read := func(req *inventoryv1.ListPartsRequest) (numbers []string) {
		for {
			page, err := r.technician.ListParts(r.ctx, req)
			check(t, err)
			for _, p := range page.GetParts() {
				numbers = append(numbers, p.GetNumber())
			}
			if req.PageToken = page.GetNextPageToken(); req.GetPageToken() == "" {
				return numbers
			}
		}
	}
	for _, row := range []struct {
		req  *inventoryv1.ListPartsRequest
		want []string
	}{
		{&inventoryv1.ListPartsRequest{PageSize: 4}, []string{"F-0", "F-1", "F-2", "F-3", "F-4", "G-1"}},
		{&inventoryv1.ListPartsRequest{PageSize: 2, Prefix: "F-"}, []string{"F-0", "F-1", "F-2", "F-3", "F-4"}},
		{&inventoryv1.ListPartsRequest{NeedingOrder: true}, []string{"F-0", "F-2", "F-4"}},
	} {
		row.req.MinRevision = revision
		if got := read(row.req); !slices.Equal(got, row.want) {
			t.Errorf("got %v, want %v", got, row.want)
		}
	}
	r.ordersNewestFirst()
}

func (r *rig) ordersNewestFirst() {
	r.t.Helper()
	for range 11 {
		_, err := r.clerk.PlaceOrder(r.ctx, &inventoryv1.PlaceOrderRequest{
			RequestId: r.id(), Supplier: "northgate", Lines: []*inventoryv1.OrderLine{{Part: "G-1", Quantity: 1}},
		})
		check(r.t, err)
	}
	cancelled, err := r.clerk.CancelOrder(r.ctx, &inventoryv1.CancelOrderRequest{RequestId: r.id(), Order: "orders/10", Reason: "twice"})
	check(r.t, err)
	for _, row := range []struct {
		finished bool
		want     []string
	}{{false, []string{"orders/11", "orders/9"}}, {true, []string{"orders/11", "orders/10"}}} {
		page, err := r.clerk.ListOrders(r.ctx, &inventoryv1.ListOrdersRequest{
			PageSize: 2, WithFinished: row.finished, MinRevision: cancelled.GetReceipt().GetRevision(),
		})
		check(r.t, err)
		var got []string
		for _, o := range page.GetOrders() {
			got = append(got, o.GetName())
		}
		if !slices.Equal(got, row.want) {
			r.t.Errorf("with finished ones %v: %v, want %v", row.finished, got, row.want)
		}
	}
	one, err := r.clerk.GetOrder(r.ctx, &inventoryv1.GetOrderRequest{Order: "orders/10"})
	check(r.t, err)
	if one.GetOrder().GetState() != inventoryv1.OrderState_ORDER_STATE_CANCELLED {
		r.t.Errorf("the cancelled order is %v", one.GetOrder())
	}
}

func TestHoldsByState(t *testing.T) {
	r := newRig(t)
	r.set(aPart("SEAL"))
	r.receives("SEAL", 2)
	for job := 1; job <= 3; job++ {
		r.jobSays(confirmed(job, 0, line("a", "SEAL", 1)))
	}
	seen := r.until(func(m *inventoryv1.WatchPartsResponse) bool { return m.GetHold().GetJob() == "jobs/3" })
	released, err := r.clerk.ReleaseHold(r.ctx, &inventoryv1.ReleaseHoldRequest{RequestId: r.id(), Job: "jobs/1", Reason: "not today"})
	check(t, err)
	for state, want := range map[inventoryv1.HoldState][]string{
		stateReleased: {"jobs/1"},
		stateHeld:     {"jobs/2", "jobs/3"},
		stateShort:    nil,
		inventoryv1.HoldState_HOLD_STATE_UNSPECIFIED: {"jobs/1", "jobs/2", "jobs/3"},
	} {
		page, err := r.technician.ListHolds(r.ctx, &inventoryv1.ListHoldsRequest{
			State: state, MinRevision: max(seen.GetRevision(), released.GetReceipt().GetRevision()),
		})
		check(t, err)
		var got []string
		for _, h := range page.GetHolds() {
			got = append(got, h.GetJob())
		}
		if !slices.Equal(got, want) {
			t.Errorf("%v: %v, want %v", state, got, want)
		}
	}
}

func TestRefusalsReachTheCaller(t *testing.T) {
	r := newRig(t)
	r.set(aPart("SEAL"))
	count := func(client inventoryv1.InventoryServiceClient, id, part string, counted int64) error {
		_, err := client.CountShelf(r.ctx, &inventoryv1.CountShelfRequest{RequestId: id, Part: part, Counted: counted})
		return err
	}
	for name, row := range map[string]struct {
		err  error
		kind fault.Kind
	}{
		"unknown part":    {count(r.clerk, r.id(), "NONE", 1), fault.NotFound},
		"negative count":  {count(r.clerk, r.id(), "SEAL", -1), fault.Invalid},
		"no request id":   {count(r.clerk, "", "SEAL", 1), fault.Invalid},
		"not his to do":   {count(r.technician, r.id(), "SEAL", 1), fault.Denied},
		"unknown to read": {errorOf(r.clerk.GetPart(r.ctx, &inventoryv1.GetPartRequest{Part: "NONE"})), fault.NotFound},
		"no such hold":    {errorOf(r.clerk.GetHold(r.ctx, &inventoryv1.GetHoldRequest{Job: "jobs/9"})), fault.NotFound},
		"no such order":   {errorOf(r.clerk.GetOrder(r.ctx, &inventoryv1.GetOrderRequest{Order: "orders/9"})), fault.NotFound},
		"bad page token":  {errorOf(r.clerk.ListParts(r.ctx, &inventoryv1.ListPartsRequest{PageToken: "x"})), fault.Invalid},
		"scrap nothing": {errorOf(r.clerk.ScrapPart(r.ctx, &inventoryv1.ScrapPartRequest{
			RequestId: r.id(), Part: "SEAL", Quantity: 1, Reason: "bent",
		})), fault.Precondition},
	} {
		if row.err == nil || fault.KindOf(row.err) != row.kind || fault.ReasonOf(row.err) == "" {
			t.Errorf("%s: %v (%v), want %v with a reason", name, row.err, fault.KindOf(row.err), row.kind)
		}
	}
}

func errorOf[R any](_ R, err error) error { return err }

func TestTheSameRequestCountsOnce(t *testing.T) {
	r := newRig(t)
	r.set(aPart("SEAL"))
	req := &inventoryv1.ReceiveGoodsRequest{RequestId: r.id(), Lines: []*inventoryv1.ReceivedLine{{Part: "SEAL", Quantity: 3}}}
	first, err := r.clerk.ReceiveGoods(r.ctx, req)
	check(t, err)
	second, err := r.clerk.ReceiveGoods(r.ctx, req)
	check(t, err)
	if !second.GetReceipt().GetRepeatedAnswer() || second.GetReceipt().GetRevision() != first.GetReceipt().GetRevision() ||
		second.GetParts()[0].GetOnHand() != 3 {
		t.Errorf("the first answer was %v, the second %v", first, second)
	}
}

func TestAnUnreadablePlanIsParkedAndBlocksNothing(t *testing.T) {
	r := newRig(t)
	r.set(aPart("SEAL"))
	r.receives("SEAL", 1)
	r.jobSays(&jobv1.DiagnosisConfirmed{Job: "jobs/1"}) // no plan
	r.jobSays(confirmed(2, 0, line("a", "SEAL", 1)))
	r.until(func(m *inventoryv1.WatchPartsResponse) bool {
		return m.GetHold().GetJob() == "jobs/2" && m.GetHold().GetState() == stateHeld
	})
	_, err := r.clerk.GetHold(r.ctx, &inventoryv1.GetHoldRequest{Job: "jobs/1"})
	if e, is := errors.AsType[*fault.Error](err); !is || e.Reason != "HOLD_NOT_FOUND" {
		t.Errorf("the job without a plan: %v", err)
	}
}
