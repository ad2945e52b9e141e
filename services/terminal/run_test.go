package terminal

import (
	"bytes"
	"context"
	"io"
	"net"
	"strings"
	"sync"
	"testing"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"
	"google.golang.org/grpc/health"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/rpc"
	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	commonv1 "ramprow/proto/ramprow/common/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

// flaky is an audit of one joint with three bolts that is away for the first
// calls of PostReading. It stands for the other end of the wire; the real audit
// is driven by the test of the whole program.
type flaky struct {
	torqueauditv1.UnimplementedTorqueAuditServiceServer

	mu     sync.Mutex
	away   int
	bolt   uint32
	posted []*torqueauditv1.PostReadingRequest
}

func (f *flaky) turn() *torqueauditv1.NextTurn {
	if f.bolt > 3 {
		return nil
	}
	return &torqueauditv1.NextTurn{
		Joint: "cover", Title: "Valve cover", Fastener: f.bolt, Stage: 1, Say: "10 N·m", Left: 4 - f.bolt,
		Spec: &cataloguev1.Stage{Kind: cataloguev1.Stage_KIND_TORQUE, TorqueNm: 10},
	}
}

func (f *flaky) GetWrench(_ context.Context, r *torqueauditv1.GetWrenchRequest) (*torqueauditv1.GetWrenchResponse, error) {
	return &torqueauditv1.GetWrenchResponse{Wrench: &torqueauditv1.Wrench{
		Name: r.GetWrench(), Kind: torqueauditv1.WrenchKind_WRENCH_KIND_SETTING, MinNm: 2, MaxNm: 25,
	}}, nil
}

func (f *flaky) GetNextTurn(context.Context, *torqueauditv1.GetNextTurnRequest) (*torqueauditv1.GetNextTurnResponse, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return &torqueauditv1.GetNextTurnResponse{Next: f.turn()}, nil
}

func (f *flaky) PostReading(_ context.Context, r *torqueauditv1.PostReadingRequest) (*torqueauditv1.PostReadingResponse, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.posted = append(f.posted, r)
	if f.away > 0 {
		f.away--
		return nil, rpc.ToStatus(fault.New(fault.Unavailable, "AWAY", "gone for a moment")).Err()
	}
	if r.GetTorqueNm() > 100 {
		return nil, rpc.ToStatus(fault.New(fault.Invalid, "TORQUE_TOO_HIGH", "no wrench shows so much")).Err()
	}
	f.bolt++
	return &torqueauditv1.PostReadingResponse{
		Reading: &torqueauditv1.Reading{
			Joint: r.GetJoint(), Fastener: r.GetFastener(), Moved: r.GetMoved(), Counts: true, Verdict: torqueauditv1.Verdict_VERDICT_CONFORMS,
		},
		Next: f.turn(), Receipt: &commonv1.Receipt{Revision: uint64(f.bolt)},
	}, nil
}

func (f *flaky) serve(t *testing.T) (address string) {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	server := grpc.NewServer()
	torqueauditv1.RegisterTorqueAuditServiceServer(server, f)
	grpc_health_v1.RegisterHealthServer(server, health.NewServer())
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(listener) }()
	t.Cleanup(func() {
		server.Stop()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	return listener.Addr().String()
}

// TestAReadingIsSentUntilItIsAnswered: gRPC's own client repeats a call four
// times, so six refusals reach the terminal's own patience too.
func TestAReadingIsSentUntilItIsAnswered(t *testing.T) {
	alone(t)
	f := &flaky{away: 6, bolt: 1}
	out, err := execute(t, "=\n\n400\n!9.8\n=\n", "tighten", "run", "17", "--wrench", "w1", "--token", "x", "--torque-audit-address", f.serve(t))
	if err != nil {
		t.Fatal(err)
	}
	if len(f.posted) != 10 { // 6 unanswered, 3 answered, 1 refused
		t.Errorf("%d calls", len(f.posted))
	}
	for _, r := range f.posted[:7] {
		if !proto.Equal(r, f.posted[0]) {
			t.Errorf("another reading was sent: %v, first %v", r, f.posted[0])
		}
	}
	if last := f.posted[8]; !last.GetMoved() || last.GetTorqueNm() != 9.8 || last.GetFastener() != 2 || last.GetRequestId() == f.posted[0].GetRequestId() {
		t.Errorf("the second reading is %v", last)
	}
	want := `Valve cover (cover): 10 N·m; 3 left in this round  [w1]
  cover 1: conforms
Valve cover (cover): 10 N·m; 2 left in this round  [w1]
  type what the wrench did, or = if it is as asked
Valve cover (cover): 10 N·m; 2 left in this round  [w1]
  refused: no wrench shows so much
Valve cover (cover): 10 N·m; 2 left in this round  [w1]
  cover 2: conforms, moved
Valve cover (cover): 10 N·m; 1 left in this round  [w1]
  cover 3: conforms
3 readings kept.
Next: ramprow tighten sign 17, when nothing is left
`
	if out != want {
		t.Errorf("got\n%s\nwant\n%s", out, want)
	}
}

func TestAnUnansweredCommandSaysHowToSendItAgain(t *testing.T) {
	alone(t)
	f := &flaky{away: 1000, bolt: 1}
	_, err := execute(t, "", "tighten", "post", "17", "cover", "1", "--wrench", "w1", "--torque", "10", "--token", "x",
		"--request-id", "reading-0001", "--torque-audit-address", f.serve(t))
	if err == nil || !strings.Contains(err.Error(), "Send the same again with --request-id reading-0001: it is done once.") {
		t.Errorf("got %v", err)
	}
	for _, r := range f.posted {
		if r.GetRequestId() != "reading-0001" || r.GetWrench() != "wrenches/w1" {
			t.Errorf("sent %v", r)
		}
	}
}

func TestTheCommandThatSendsAReadingAgainIsTheSameReading(t *testing.T) {
	alone(t)
	f := &flaky{bolt: 1}
	address := f.serve(t)
	stage := &cataloguev1.Stage{TorqueNm: 10}
	e, err := parseEntry("!9.75", stage)
	if err != nil {
		t.Fatal(err)
	}
	first := &torqueauditv1.PostReadingRequest{
		RequestId: fresh(), Job: "jobs/17", Joint: "cover", Fastener: 1, Stage: 1, Wrench: "wrenches/w1", TorqueNm: e.torque, Moved: e.moved, At: stampNow(t),
		Adapter: &torqueauditv1.Adapter{LeverMm: 450, ReachMm: 50.5, AngleDeg: 45},
	}
	args := strings.Fields(strings.TrimPrefix(again(first), "ramprow "))
	if _, err := execute(t, "", append(args, "--token", "x", "--torque-audit-address", address)...); err != nil {
		t.Fatal(err)
	}
	if !proto.Equal(first, f.posted[0]) {
		t.Errorf("sent again as %v, was %v", f.posted[0], first)
	}
}

// stopper ends a run as soon as it asks for a value, as Ctrl-C does.
type stopper struct {
	bytes.Buffer
	stop context.CancelFunc
}

func (s *stopper) Write(p []byte) (int, error) {
	if bytes.Contains(p, []byte("left in this round")) {
		s.stop()
	}
	return s.Buffer.Write(p)
}

func TestStoppingIsHeardWhileNobodyTypes(t *testing.T) {
	alone(t)
	f := &flaky{bolt: 1}
	silent, _ := io.Pipe()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	out := &stopper{stop: cancel}
	root := &cobra.Command{Use: "ramprow", SilenceErrors: true, SilenceUsage: true}
	root.AddCommand(Commands()...)
	root.SetIn(silent)
	root.SetOut(out)
	root.SetArgs([]string{"tighten", "run", "17", "--wrench", "w1", "--token", "x", "--torque-audit-address", f.serve(t)})
	if err := root.ExecuteContext(ctx); err != nil {
		t.Errorf("got %v", err)
	}
	if !strings.HasSuffix(out.String(), "0 readings kept.\nNext: ramprow tighten run 17 --wrench WRENCH\n") {
		t.Errorf("got\n%s", out.String())
	}
}

func TestListsAreReadPageByPage(t *testing.T) {
	for _, tt := range []struct {
		limit, rows, pages int
		note               string
	}{
		{0, 450, 3, ""},
		{450, 450, 3, ""},
		{250, 250, 2, "Only 250 are shown; --limit 0 shows all.\n"},
		{1, 1, 1, "Only 1 are shown; --limit 0 shows all.\n"},
	} {
		var notes bytes.Buffer
		pages, left := 0, 450
		rows, err := collect(&session{notes: &notes}, tt.limit, func(size int32, token string) ([]int, string, error) {
			if (token == "") != (pages == 0) {
				t.Errorf("page %d came with the token %q", pages, token)
			}
			pages++
			page := make([]int, min(int(size), left))
			if left -= len(page); left == 0 {
				return page, "", nil
			}
			return page, "more", nil
		})
		if err != nil || len(rows) != tt.rows || pages != tt.pages || notes.String() != tt.note {
			t.Errorf("limit %d: %d rows in %d pages, %q, %v", tt.limit, len(rows), pages, notes.String(), err)
		}
	}
}
