package rpc_test

import (
	"context"
	"net"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/rpc"
	"ramprow/internal/platform/telemetry"
	commonv1 "ramprow/proto/ramprow/common/v1"
	logv1 "ramprow/proto/ramprow/log/v1"
)

// twins are two replicas. Calls at the first are sent on to the second.
type twins struct {
	first, second *bench
	// asked are the calls that reached a handler, in order.
	asked chan arrival
}

type arrival struct {
	at       string
	request  *logv1.DropParkedRequest
	who      identity.Identity
	trace    string
	deadline time.Time
}

// startTwins begins two servers. The second sends on to where back says.
func startTwins(t *testing.T, answer error, back func(first string) string) *twins {
	t.Helper()
	p := &twins{asked: make(chan arrival, 10)}
	key, err := identity.NewKey()
	if err != nil {
		t.Fatal(err)
	}
	replica := func(name string, elsewhere func() string) *bench {
		return start(t, setup{
			key: &key,
			server: rpc.ServerConfig{Forwarding: &rpc.Forwarding{Elsewhere: func(site string) string {
				if site != "north" {
					t.Errorf("asked for site %q", site)
				}
				return elsewhere()
			}}},
			register: func(s *rpc.Server) {
				logv1.RegisterLogServiceServer(s, &counting{at: name, asked: p.asked, answer: answer})
			},
		})
	}
	var firstAddress string
	p.second = replica("second", func() string { return back(firstAddress) })
	p.first = replica("first", func() string { return p.second.client.Target })
	firstAddress = p.first.client.Target
	return p
}

type counting struct {
	logv1.UnimplementedLogServiceServer
	at     string
	asked  chan<- arrival
	answer error
}

func (c *counting) DropParked(ctx context.Context, in *logv1.DropParkedRequest) (*logv1.DropParkedResponse, error) {
	who, _ := identity.FromContext(ctx)
	deadline, _ := ctx.Deadline()
	c.asked <- arrival{at: c.at, request: in, who: who, trace: telemetry.TraceID(ctx), deadline: deadline}
	if c.answer != nil {
		return nil, c.answer
	}
	return &logv1.DropParkedResponse{Receipt: &commonv1.Receipt{Revision: 42}}, nil
}

func (c *counting) DescribeLog(context.Context, *logv1.DescribeLogRequest) (*logv1.DescribeLogResponse, error) {
	return &logv1.DescribeLogResponse{Service: c.at}, nil
}

func nowhere(string) string { return "" }

var drop = &logv1.DropParkedRequest{RequestId: "request-1", Id: "job.1.0.0", Reason: "a known defect"}

func TestACommandIsAnsweredByTheOtherReplica(t *testing.T) {
	p := startTwins(t, nil, nowhere)
	client := logv1.NewLogServiceClient(p.first.dial(identity.Owner))
	ctx, span := p.first.telemetry.Tracer("test").Start(soon(t), "press a button")
	defer span.End()
	answer, err := client.DropParked(ctx, drop)
	if err != nil || answer.GetReceipt().GetRevision() != 42 {
		t.Fatalf("answered %v, %v", answer, err)
	}
	got := <-p.asked
	if got.at != "second" || !proto.Equal(got.request, drop) || got.who.Person != "ada" || got.who.Site != "north" {
		t.Errorf("it arrived as %+v", got)
	}
	if want := span.SpanContext().TraceID().String(); got.trace != want {
		t.Errorf("trace %s became %s", want, got.trace)
	}
	// The caller's time crosses as a duration, cut to the timeout's precision.
	if want, _ := ctx.Deadline(); got.deadline.After(want.Add(time.Second)) {
		t.Errorf("the deadline %v became %v", want, got.deadline)
	}
	described, err := client.DescribeLog(ctx, &logv1.DescribeLogRequest{})
	if err != nil || described.GetService() != "first" {
		t.Errorf("a read was answered by %q (%v)", described.GetService(), err)
	}
}

// Two replicas that each take the other for the right one do not play ball.
func TestACallIsSentOnOnce(t *testing.T) {
	p := startTwins(t, nil, func(first string) string { return first })
	if _, err := logv1.NewLogServiceClient(p.first.dial(identity.Owner)).DropParked(soon(t), drop); err != nil {
		t.Fatal(err)
	}
	if got := <-p.asked; got.at != "second" || len(p.asked) != 0 {
		t.Errorf("it went to %s, and %d times more", got.at, len(p.asked))
	}
}

func TestARefusalOfTheOtherReplicaCrossesWhole(t *testing.T) {
	tests := map[string]*fault.Error{
		"invalid":      fault.New(fault.Invalid, "NO_SUCH_EVENT", "look at the list").WithField("parked", "unknown").With("a", "b"),
		"unavailable":  fault.New(fault.Unavailable, "LOG_AWAY", "the log is away; try again").Retry(time.Minute),
		"precondition": fault.New(fault.Precondition, "NOT_YET", "mend it first").WithUnmet(fault.Unmet{Type: "MENDED", Subject: "x", Description: "no"}),
	}
	for name, refusal := range tests {
		t.Run(name, func(t *testing.T) {
			p := startTwins(t, refusal, nowhere)
			_, err := logv1.NewLogServiceClient(p.first.dial(identity.Owner)).DropParked(soon(t), drop)
			got := gotFault(t, err, refusal.Kind, refusal.Reason)
			_, err = logv1.NewLogServiceClient(p.second.dial(identity.Owner)).DropParked(soon(t), drop)
			if want := gotFault(t, err, refusal.Kind, refusal.Reason); got.Message != want.Message || got.RetryAfter != want.RetryAfter ||
				len(got.Fields) != len(want.Fields) || len(got.Unmet) != len(want.Unmet) || got.Metadata["a"] != want.Metadata["a"] {
				t.Errorf("refused with %+v, and without a detour with %+v", got, want)
			}
		})
	}
}

func TestWhoMayNotCallIsNotSentOn(t *testing.T) {
	p := startTwins(t, nil, nowhere)
	_, err := logv1.NewLogServiceClient(p.first.dial(identity.Technician)).DropParked(soon(t), drop)
	wantFault(t, err, fault.Denied, "ROLE_MISSING")
	if len(p.asked) != 0 {
		t.Error("the other replica was asked")
	}
}

func TestTheOtherReplicaIsAway(t *testing.T) {
	gone := listen(t, "127.0.0.1:0")
	address := gone.Addr().String()
	if err := gone.Close(); err != nil {
		t.Fatal(err)
	}
	b := start(t, setup{
		server:   rpc.ServerConfig{Forwarding: &rpc.Forwarding{Elsewhere: func(string) string { return address }}},
		register: withLog(&fakeLog{}),
	})
	_, err := logv1.NewLogServiceClient(b.dial(identity.Owner)).DropParked(soon(t), drop)
	f := gotFault(t, err, fault.Unavailable, "REPLICA_AWAY")
	if host, _, _ := net.SplitHostPort(f.Metadata["replica"]); f.RetryAfter <= 0 || host != "127.0.0.1" {
		t.Errorf("refused with %+v", f)
	}
}
