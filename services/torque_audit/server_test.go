package torqueaudit

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"ramprow/internal/engine/fastening/record"
	"ramprow/internal/platform/embedded"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/readmodel"
	"ramprow/internal/platform/rpc"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/memory"
	"ramprow/internal/platform/telemetry"
	jobv1 "ramprow/proto/ramprow/job/v1"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// patience bounds every wait; it is never reached when all is well.
const patience = 30 * time.Second

// bench is the service behind a real server, over the memory log and an
// embedded Redis, with a job service that only says what it is told to.
type bench struct {
	t      testing.TB
	ctx    context.Context
	client pb.TorqueAuditServiceClient
	jobs   *sitelog.Runner[struct{}]
	said   int
}

func newBench(t testing.TB) *bench { return newBenchOver(t, memory.New()) }

func newBenchOver(t testing.TB, log sitelog.Log) *bench {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	t.Cleanup(cancel)
	b := &bench{t: t, ctx: ctx}
	runner, err := sitelog.Open(ctx, log, Machine(), sitelog.Options{})
	b.must(err)
	t.Cleanup(runner.Close)
	b.jobs, err = sitelog.Open(ctx, log, sitelog.Machine[struct{}]{
		Service: "job", New: func(string) struct{} { return struct{}{} }, Evolve: func(struct{}, sitelog.Event) {},
	}, sitelog.Options{})
	b.must(err)
	t.Cleanup(b.jobs.Close)
	b.client = pb.NewTorqueAuditServiceClient(b.serve(NewServer(runner, b.views(log, runner), time.Now)))
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
	store, err := readmodel.Connect(readmodel.Options{URL: redis.URL()})
	b.must(err)
	projector, err := readmodel.NewProjector(readmodel.Config[*State]{Projection: Projection(), Log: log, Store: store})
	b.must(err)
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- projector.Run(ctx) }()
	b.t.Cleanup(func() {
		stop()
		if err := <-done; !errors.Is(err, context.Canceled) {
			b.t.Errorf("projector: %v", err)
		}
		b.must(store.Close())
	})
	return readmodel.NewViews(projector, runner)
}

// serve registers the service on a real server and dials it as the owner ada.
func (b *bench) serve(s *Server) *grpc.ClientConn {
	tel, err := telemetry.Start(b.ctx, telemetry.Config{Service: Service, Log: io.Discard, Getenv: func(string) string { return "" }})
	b.must(err)
	key, err := identity.NewKey()
	b.must(err)
	verifier, err := identity.NewVerifier(identity.VerifierConfig{Keys: []ed25519.PublicKey{key.Public()}})
	b.must(err)
	server, err := rpc.NewServer(rpc.ServerConfig{Telemetry: tel, Verifier: verifier})
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
	who := identity.Identity{Site: "north", Person: "ada", Roles: []identity.Role{identity.Technician}}
	token, err := identity.NewSigner(identity.SignerConfig{Key: key}).Issue(who, time.Hour, time.Now())
	b.must(err)
	conn, err := rpc.Dial(rpc.ClientConfig{Telemetry: tel, Pipe: pipe, Token: func(context.Context) (string, error) { return token, nil }})
	b.must(err)
	b.t.Cleanup(func() { _ = conn.Close() })
	return conn
}

// say puts an event into the job's log.
func (b *bench) say(m proto.Message) {
	b.t.Helper()
	b.said++
	_, err := b.jobs.Do(b.ctx, "north", sitelog.Command[struct{}]{
		Method: "/test/Say", RequestID: fmt.Sprintf("said-%06d", b.said), Request: m,
		Decide: func(struct{}, sitelog.Input) (sitelog.Decision, error) {
			return sitelog.Decision{Events: []proto.Message{m}, Response: m}, nil
		},
	})
	b.must(err)
}

// await watches the sheet until a condition holds.
func (b *bench) await(what string, ok func(*pb.Sheet) bool) *pb.Sheet {
	b.t.Helper()
	for {
		stream, err := b.client.WatchSheet(b.ctx, &pb.WatchSheetRequest{Job: job1})
		b.must(err)
		for {
			got, err := stream.Recv()
			if fault.KindOf(err) == fault.NotFound {
				break // not opened yet: ask again
			}
			if err != nil {
				b.t.Fatalf("waiting until %s: %v", what, err)
			}
			if ok(got.GetSheet()) {
				return got.GetSheet()
			}
		}
	}
}

// TestThroughTheServer goes from the diagnosis to the signed sheet by gRPC.
func TestThroughTheServer(t *testing.T) {
	b := newBench(t)
	wrench := torqueAngleWrench()
	wrench.CalibratedAt, wrench.CalibrationDue = nil, nil
	_, err := b.client.SetWrench(b.ctx, &pb.SetWrenchRequest{RequestId: "wrench-0001", Wrench: wrench})
	b.must(err)
	_, err = b.client.RecordWrenchCheck(b.ctx, &pb.RecordWrenchCheckRequest{
		RequestId: "calibrate-1", Wrench: bigWrench, TargetNm: 100, MeasuredNm: 101, Calibration: true, Certificate: "C-1",
	})
	b.must(err)
	b.say(confirmed(1, cover()))
	b.say(&jobv1.StepStarted{Job: job1, Step: "close.cover"})
	b.await("the joint is open", func(s *pb.Sheet) bool { return s.GetJoints()[0].GetState() == pb.JointState_JOINT_STATE_OPEN })

	post := func(id string, fastener uint32) *pb.PostReadingResponse {
		resp, err := b.client.PostReading(b.ctx, &pb.PostReadingRequest{
			RequestId: id, Job: job1, Joint: "cover", Fastener: fastener, Wrench: bigWrench, TorqueNm: 10, Moved: true,
		})
		b.must(err)
		return resp
	}
	first := post("reading-1", 1)
	if again := post("reading-1", 1); !again.GetReceipt().GetRepeatedAnswer() || again.GetReading().GetNumber() != first.GetReading().GetNumber() {
		t.Errorf("sent again: %v", again)
	}
	next, err := b.client.GetNextTurn(b.ctx, &pb.GetNextTurnRequest{Job: job1, MinRevision: first.GetReceipt().GetRevision()})
	b.must(err)
	if next.GetNext().GetFastener() != 2 {
		t.Errorf("next %v", next)
	}
	if last := post("reading-2", 2); !last.GetJointProved() {
		t.Fatalf("last reading %v", last)
	}
	signed, err := b.client.SignSheet(b.ctx, &pb.SignSheetRequest{RequestId: "sign-0001", Job: job1})
	b.must(err)
	done := b.await("it is complete", func(s *pb.Sheet) bool { return s.GetState() == pb.SheetState_SHEET_STATE_COMPLETE })
	got, err := b.client.GetSheet(b.ctx, &pb.GetSheetRequest{Job: job1, MinRevision: signed.GetReceipt().GetRevision()})
	b.must(err)
	if !proto.Equal(done, got.GetSheet()) || len(got.GetSheet().GetJoints()[0].GetReadings()) != 2 {
		t.Errorf("watched %v\nread %v", done, got.GetSheet())
	}
	issued, err := b.client.GetTighteningRecord(b.ctx, &pb.GetTighteningRecordRequest{Job: job1, WithHtml: true})
	b.must(err)
	proof, err := record.Verify(issued.GetJson())
	b.must(err)
	if proof.Sum != issued.GetSum() || len(proof.Hashes) != 2 || !strings.Contains(issued.GetHtml(), proof.Sum) {
		t.Errorf("the record proves %+v", proof)
	}
}

// TestChangingOnesMind corrects, reopens and departs by gRPC.
func TestChangingOnesMind(t *testing.T) {
	b := newBench(t)
	registered, err := b.client.SetWrench(b.ctx, &pb.SetWrenchRequest{RequestId: "wrench-0001", Wrench: torqueAngleWrench()})
	b.must(err)
	read, err := b.client.GetWrench(b.ctx, &pb.GetWrenchRequest{Wrench: bigWrench, MinRevision: registered.GetReceipt().GetRevision()})
	b.must(err)
	if !proto.Equal(read.GetWrench(), registered.GetWrench()) {
		t.Errorf("registered %v, read %v", registered.GetWrench(), read.GetWrench())
	}
	b.say(confirmed(1, cover()))
	b.say(&jobv1.StepStarted{Job: job1, Step: "close.cover"})
	b.await("the joint is open", func(s *pb.Sheet) bool { return s.GetJoints()[0].GetState() == pb.JointState_JOINT_STATE_OPEN })
	_, err = b.client.PostReading(b.ctx, &pb.PostReadingRequest{RequestId: "reading-1", Job: job1, Joint: "cover", Fastener: 1, Wrench: bigWrench, TorqueNm: 10})
	b.must(err)
	corrected, err := b.client.CorrectReading(b.ctx, &pb.CorrectReadingRequest{RequestId: "correct-1", Job: job1, Number: 1, Reason: "wrong bolt"})
	b.must(err)
	if got := corrected.GetSheet().GetJoints()[0].GetReadings(); len(got) != 2 || got[0].GetCorrectedBy() != 2 {
		t.Errorf("readings %v", got)
	}
	_, err = b.client.SignDeparture(b.ctx, &pb.SignDepartureRequest{RequestId: "depart-01", Job: job1, Joint: "cover", FirstPerson: "ada", Reason: "no room"})
	wantReason(t, err, "SECOND_PERSON_NEEDED")
	departed, err := b.client.SignDeparture(b.ctx, &pb.SignDepartureRequest{RequestId: "depart-02", Job: job1, Joint: "cover", FirstPerson: "ben", Reason: "no room"})
	b.must(err)
	if departed.GetSheet().GetState() != pb.SheetState_SHEET_STATE_TO_SIGN {
		t.Errorf("after the departure %v", departed.GetSheet())
	}
	reopened, err := b.client.ReopenSheet(b.ctx, &pb.ReopenSheetRequest{RequestId: "reopen-01", Job: job1, Joints: []string{"cover"}, Reason: "room after all"})
	b.must(err)
	if reopened.GetSheet().GetState() != pb.SheetState_SHEET_STATE_REOPENED || reopened.GetReceipt().GetRevision() == 0 {
		t.Errorf("reopened %v", reopened)
	}
}

func TestListsAndRefusalsThroughTheServer(t *testing.T) {
	b := newBench(t)
	var revision uint64
	for i := range 3 {
		wrench := torqueAngleWrench()
		wrench.Name = fmt.Sprintf("wrenches/w%d", i)
		resp, err := b.client.SetWrench(b.ctx, &pb.SetWrenchRequest{RequestId: fmt.Sprintf("wrench-%04d", i), Wrench: wrench})
		b.must(err)
		revision = resp.GetReceipt().GetRevision()
	}
	page, err := b.client.ListWrenches(b.ctx, &pb.ListWrenchesRequest{PageSize: 2, MinRevision: revision})
	b.must(err)
	rest, err := b.client.ListWrenches(b.ctx, &pb.ListWrenchesRequest{PageSize: 2, PageToken: page.GetNextPageToken()})
	b.must(err)
	if len(page.GetWrenches()) != 2 || len(rest.GetWrenches()) != 1 || rest.GetNextPageToken() != "" {
		t.Errorf("pages of %d and %d", len(page.GetWrenches()), len(rest.GetWrenches()))
	}
	for n := 1; n <= 10; n += 3 {
		c := confirmed(1, cover())
		c.Job = fmt.Sprintf("jobs/%d", n)
		b.say(c)
	}
	b.say(confirmedAs("jobs/11"))
	b.await("the first sheet is there", func(*pb.Sheet) bool { return true })
	open, all := b.lists()
	if fmt.Sprint(open) != "[jobs/10 jobs/7 jobs/4 jobs/1]" || fmt.Sprint(all) != "[jobs/11 jobs/10 jobs/7 jobs/4 jobs/1]" {
		t.Errorf("open %v, all %v", open, all)
	}
	_, err = b.client.GetSheet(b.ctx, &pb.GetSheetRequest{Job: "jobs/99"})
	wantReason(t, err, "SHEET_NOT_FOUND")
	_, err = b.client.GetWrench(b.ctx, &pb.GetWrenchRequest{Wrench: "wrenches/none"})
	wantReason(t, err, "WRENCH_NOT_FOUND")
	_, err = b.client.GetNextTurn(b.ctx, &pb.GetNextTurnRequest{Job: job1, Joint: "none"})
	wantReason(t, err, "JOINT_NOT_FOUND")
}

// confirmedAs is a job with nothing to tighten, so its sheet is complete at once.
func confirmedAs(job string) *jobv1.DiagnosisConfirmed {
	c := confirmed(1)
	c.Job = job
	return c
}

// lists reads both lists, once the youngest sheet is in them.
func (b *bench) lists() (open, all []string) {
	b.t.Helper()
	for len(all) < 5 {
		b.must(b.ctx.Err())
		read := func(finished bool) (jobs []string) {
			page, err := b.client.ListSheets(b.ctx, &pb.ListSheetsRequest{WithFinished: finished})
			b.must(err)
			for _, s := range page.GetSheets() {
				jobs = append(jobs, s.GetJob())
			}
			return jobs
		}
		all, open = read(true), read(false)
	}
	return open, all
}
