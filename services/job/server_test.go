package job

import (
	"context"
	"crypto/ed25519"
	"fmt"
	"io"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/embedded"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/personal"
	"ramprow/internal/platform/readmodel"
	"ramprow/internal/platform/rpc"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/memory"
	"ramprow/internal/platform/telemetry"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// patience bounds every wait; it is never reached when all is well.
const patience = 60 * time.Second

// bench is the service behind a real server, over the memory log and an
// embedded Redis, with the other services only saying what they are told to.
type bench struct {
	t      testing.TB
	ctx    context.Context
	client jobv1.JobServiceClient
	// stranger is the owner of another site.
	stranger jobv1.JobServiceClient
	others   map[string]*sitelog.Runner[struct{}]
	said     int
	log      sitelog.Log
	keys     *personal.Vault
	store    *stubborn
	redis    string
	// conn is the client's connection, for the other services of the role.
	conn *grpc.ClientConn
}

func newBench(t testing.TB) *bench {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	t.Cleanup(cancel)
	b := &bench{t: t, ctx: ctx, others: map[string]*sitelog.Runner[struct{}]{}}
	log := memory.New()
	runner, err := sitelog.Open(ctx, log, Machine(), sitelog.Options{})
	b.must(err)
	t.Cleanup(runner.Close)
	for _, service := range Machine().Follows {
		other, err := sitelog.Open(ctx, log, sitelog.Machine[struct{}]{
			Service: service, New: func(string) struct{} { return struct{}{} }, Evolve: func(struct{}, sitelog.Event) {},
		}, sitelog.Options{})
		b.must(err)
		t.Cleanup(other.Close)
		b.others[service] = other
	}
	b.log, b.store = log, &stubborn{Memory: &personal.Memory{}}
	b.keys = personal.NewVault(b.store, nil)
	t.Cleanup(b.keys.Close)
	b.serve(NewServer(runner, b.views(log, runner), time.Now).Sealing(b.keys))
	return b
}

func (b *bench) must(err error) {
	b.t.Helper()
	if err != nil {
		b.t.Fatal(err)
	}
}

func (b *bench) views(log sitelog.Log, runner *sitelog.Runner[*State]) *readmodel.Views[*State] {
	redis, err := embedded.StartRedis()
	b.must(err)
	b.t.Cleanup(func() { b.must(redis.Close()) })
	b.redis = redis.URL()
	store, err := readmodel.Connect(readmodel.Options{URL: redis.URL()})
	b.must(err)
	projector, err := readmodel.NewProjector(readmodel.Config[*State]{Projection: Projection(), Log: log, Store: store})
	b.must(err)
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- projector.Run(ctx) }()
	b.t.Cleanup(func() {
		stop()
		b.t.Logf("the projector was stopped: %v", <-done)
		b.must(store.Close())
	})
	return readmodel.NewViews(projector, runner)
}

// serve registers the service on a real server and dials it from two sites.
func (b *bench) serve(s *Server) {
	tel, err := telemetry.Start(b.ctx, telemetry.Config{Service: Service, Log: io.Discard, Getenv: func(string) string { return "" }})
	b.must(err)
	key, err := identity.NewKey()
	b.must(err)
	verifier, err := identity.NewVerifier(identity.VerifierConfig{Keys: []ed25519.PublicKey{key.Public()}})
	b.must(err)
	server, err := rpc.NewServer(rpc.ServerConfig{Telemetry: tel, Verifier: verifier, Reveal: b.keys.Reveal})
	b.must(err)
	s.Register(server)
	pipe := rpc.NewPipe()
	served := make(chan error, 1)
	go func() { served <- server.Serve(pipe) }()
	b.t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), patience)
		defer cancel()
		b.must(server.Shutdown(ctx))
		b.must(<-served)
	})
	dial := func(site string) jobv1.JobServiceClient {
		who := identity.Identity{Site: site, Person: "ada", Roles: []identity.Role{identity.Owner}}
		token, err := identity.NewSigner(identity.SignerConfig{Key: key}).Issue(who, time.Hour, time.Now())
		b.must(err)
		conn, err := rpc.Dial(rpc.ClientConfig{Telemetry: tel, Pipe: pipe, Token: func(context.Context) (string, error) { return token, nil }})
		b.must(err)
		b.t.Cleanup(func() { _ = conn.Close() })
		if site == "north" {
			b.conn = conn
		}
		return jobv1.NewJobServiceClient(conn)
	}
	b.client, b.stranger = dial("north"), dial("south")
}

// once is a fresh request_id.
func (b *bench) once() string {
	b.said++
	return fmt.Sprintf("request-%06d", b.said)
}

// say puts an event into another service's log.
func (b *bench) say(service string, m proto.Message) {
	b.t.Helper()
	_, err := b.others[service].Do(b.ctx, "north", sitelog.Command[struct{}]{
		Method: "/test/Say", RequestID: b.once(), Request: m,
		Decide: func(struct{}, sitelog.Input) (sitelog.Decision, error) {
			return sitelog.Decision{Events: []proto.Message{m}, Response: m}, nil
		},
	})
	b.must(err)
}

// await watches the job until a condition holds.
func (b *bench) await(what string, ok func(*jobv1.Job) bool) *jobv1.Job {
	b.t.Helper()
	stream, err := b.client.WatchJob(b.ctx, &jobv1.WatchJobRequest{Job: job1})
	b.must(err)
	for {
		got, err := stream.Recv()
		if err != nil {
			b.t.Fatalf("waiting until %s: %v", what, err)
		}
		if ok(got.GetJob()) {
			return got.GetJob()
		}
	}
}

func (b *bench) furnish() {
	for _, c := range loaded() {
		_, err := b.client.ImportCatalogue(b.ctx, &jobv1.ImportCatalogueRequest{RequestId: b.once(), Catalogue: c.Message()})
		b.must(err)
	}
}

func (b *bench) openJob() *jobv1.OpenJobResponse {
	b.t.Helper()
	req := intake()
	req.RequestId = b.once()
	resp, err := b.client.OpenJob(b.ctx, req)
	b.must(err)
	return resp
}

// call makes a call that must be answered, with a fresh request_id.
func call[Q proto.Message, R any](b *bench, method func(context.Context, Q, ...grpc.CallOption) (R, error), req Q) R {
	b.t.Helper()
	if id := req.ProtoReflect().Descriptor().Fields().ByName("request_id"); id != nil {
		req.ProtoReflect().Set(id, protoString(b.once()))
	}
	resp, err := method(b.ctx, req)
	if err != nil {
		b.t.Fatalf("%T: %v (%s)", req, err, fault.ReasonOf(err))
	}
	return resp
}
