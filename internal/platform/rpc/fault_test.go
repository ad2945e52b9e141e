package rpc_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	spb "google.golang.org/genproto/googleapis/rpc/status"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"pgregory.net/rapid"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/rpc"
	logv1 "ramprow/proto/ramprow/log/v1"
)

func statusOf(t testing.TB, err error) *spb.Status {
	t.Helper()
	st, ok := status.FromError(err)
	if !ok {
		t.Fatalf("%v carries no status", err)
	}
	return st.Proto()
}

// The codes are those of AIP-193 and the gRPC guide; ABORTED for a lost race is AIP-154.
func TestKindsAndTheirCodes(t *testing.T) {
	want := map[fault.Kind]codes.Code{
		fault.Internal: codes.Internal, fault.Invalid: codes.InvalidArgument, fault.NotFound: codes.NotFound,
		fault.Exists: codes.AlreadyExists, fault.Precondition: codes.FailedPrecondition, fault.Conflict: codes.Aborted,
		fault.Unauthenticated: codes.Unauthenticated, fault.Denied: codes.PermissionDenied,
		fault.Exhausted: codes.ResourceExhausted, fault.Unavailable: codes.Unavailable,
		fault.Unimplemented: codes.Unimplemented, fault.Canceled: codes.Canceled, fault.Deadline: codes.DeadlineExceeded,
	}
	for _, kind := range fault.Kinds() {
		if got := rpc.ToStatus(fault.New(kind, "R", "m")).Code(); got != want[kind] {
			t.Errorf("%s crosses as %s, want %s", kind, got, want[kind])
		}
	}
}

// drawFault makes any fault that is within the bounds of a trailer.
func drawFault(t *rapid.T) *fault.Error {
	word := rapid.StringMatching(`[A-Z][A-Z0-9_]{0,20}`)
	free := rapid.StringN(0, 20, 80)
	kinds := fault.Kinds()[1:] // Internal is made neutral: its own test
	f := fault.New(rapid.SampledFrom(kinds).Draw(t, "kind"), word.Draw(t, "reason"), "%s", free.Draw(t, "message"))
	for range rapid.IntRange(0, 3).Draw(t, "metadata") {
		f = f.With(word.Draw(t, "key"), free.Draw(t, "value"))
	}
	for range rapid.IntRange(0, 3).Draw(t, "fields") {
		f = f.WithField(free.Draw(t, "path"), "%s", free.Draw(t, "description"))
	}
	for range rapid.IntRange(0, 3).Draw(t, "unmet") {
		f = f.WithUnmet(fault.Unmet{Type: word.Draw(t, "type"), Subject: free.Draw(t, "subject"), Description: free.Draw(t, "do")})
	}
	if rapid.Bool().Draw(t, "resource") {
		f = f.About(word.Draw(t, "resourceType"), free.Draw(t, "resourceName"))
	}
	if rapid.Bool().Draw(t, "retry") {
		f = f.Retry(time.Duration(rapid.Int64Range(1, int64(time.Hour)).Draw(t, "after")))
	}
	return f.Because(errors.New("the secret beneath"))
}

func TestFaultsCrossTheNetworkWhole(t *testing.T) {
	var next error
	// Strike is not repeatable, so no retries stretch the run.
	b := start(t, setup{overPipe: true, register: withProbe(&probe{
		strike: func(context.Context, *logv1.ListParkedRequest) (*logv1.ListParkedResponse, error) { return nil, next },
	})})
	conn := b.dial(identity.Technician)
	rapid.Check(t, func(t *rapid.T) {
		sent := drawFault(t)
		next = fmt.Errorf("wrapped on its way: %w", sent)
		ctx, cancel := context.WithTimeout(context.Background(), patience)
		defer cancel()
		err := conn.Invoke(ctx, "/"+probeService+"/Strike", &logv1.ListParkedRequest{}, &logv1.ListParkedResponse{})
		got, ok := errors.AsType[*fault.Error](err)
		if !ok {
			t.Fatalf("got %v", err)
		}
		if diff := cmp.Diff(sent, got, cmpopts.IgnoreUnexported(fault.Error{}), cmpopts.EquateEmpty()); diff != "" {
			t.Fatalf("(-sent +got)\n%s", diff)
		}
		if strings.Contains(err.Error(), "secret") || strings.Contains(err.Error(), "on its way") {
			t.Fatalf("what lies beneath was sent: %v", err)
		}
	})
}

func TestDefectsAreNeutralOutsideAndPlainInTheLog(t *testing.T) {
	tests := []struct {
		name, reason string
		err          error
	}{
		{"any error", "INTERNAL", errors.New("secret disk is full")},
		{"a fault that says so", "STATE_BROKEN", fault.New(fault.Internal, "STATE_BROKEN", "secret disk").With("secret", "x")},
		{"an inner time-out is not the caller's", "INTERNAL", fmt.Errorf("secret: %w", context.DeadlineExceeded)},
		{"an inner status of a defect", "INTERNAL", status.Error(codes.DataLoss, "secret")},
		{"an end of file", "INTERNAL", fmt.Errorf("secret: %w", io.ErrUnexpectedEOF)},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			b := start(t, setup{register: answering(func(context.Context) error { return tt.err })})
			_, err := logv1.NewLogServiceClient(b.dial(identity.Owner)).DescribeLog(soon(t), &logv1.DescribeLogRequest{})
			f := gotFault(t, err, fault.Internal, tt.reason)
			if text := fmt.Sprint(statusOf(t, err)); strings.Contains(text, "secret") {
				t.Errorf("the caller sees %s", text)
			}
			trace := f.Metadata["trace_id"]
			if len(trace) != 32 || !strings.Contains(f.Message, trace) {
				t.Errorf("message %q, metadata %v: the trace is what a person can report", f.Message, f.Metadata)
			}
			if log := b.log.String(); !strings.Contains(log, "secret") || !strings.Contains(log, trace) {
				t.Errorf("the log lacks the truth or the trace: %s", log)
			}
		})
	}
}

func TestPanicsAreSurvivedAndLogged(t *testing.T) {
	calls := 0
	b := start(t, setup{register: func(s *rpc.Server) {
		withLog(&fakeLog{describe: func(context.Context) (*logv1.DescribeLogResponse, error) {
			if calls++; calls == 1 {
				panic("secret slip")
			}
			return &logv1.DescribeLogResponse{}, nil
		}})(s)
		withProbe(&probe{chat: func(grpc.ServerStream) error { panic("slip in a stream") }})(s)
	}})
	conn := b.dial(identity.Owner)
	client := logv1.NewLogServiceClient(conn)
	_, err := client.DescribeLog(soon(t), &logv1.DescribeLogRequest{})
	if f := gotFault(t, err, fault.Internal, "PANIC"); strings.Contains(f.Error(), "secret") {
		t.Errorf("the caller sees %v", f)
	}
	wantFault(t, openChat(t, conn).RecvMsg(new(logv1.ListParkedResponse)), fault.Internal, "PANIC")
	for _, want := range []string{"secret slip", "slip in a stream", "fault_test.go"} {
		if !strings.Contains(b.log.String(), want) {
			t.Errorf("the log lacks %q: %s", want, b.log)
		}
	}
	if _, err := client.DescribeLog(soon(t), &logv1.DescribeLogRequest{}); err != nil {
		t.Errorf("the next call: %v", err)
	}
}

func TestFromStatusOfWhatCarriesNoDetails(t *testing.T) {
	for code := codes.Canceled; code <= codes.Unauthenticated; code++ {
		err := rpc.FromStatus(status.Error(code, "bare"))
		if f, ok := errors.AsType[*fault.Error](err); !ok || f.Reason == "" || f.Message == "" {
			t.Errorf("%s becomes %+v", code, f)
		}
		if status.Code(err) != code {
			t.Errorf("%s is found again as %s", code, status.Code(err))
		}
	}
	if err := rpc.FromStatus(nil); err != nil {
		t.Errorf("no error becomes %v", err)
	}
	wantFault(t, rpc.FromStatus(context.Canceled), fault.Canceled, "CANCELED")
	own := fault.New(fault.Exists, "TAKEN", "taken")
	if got := rpc.FromStatus(own); !errors.Is(got, own) {
		t.Errorf("a fault becomes %v", got)
	}
}
