package traces

import (
	"cmp"
	"context"
	"strconv"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/command"
	"ramprow/internal/platform/fault"
	tracesv1 "ramprow/proto/ramprow/traces/v1"
)

const defaultPage = 50

// Server answers TraceService out of a store.
type Server struct {
	tracesv1.UnimplementedTraceServiceServer

	store *Store
}

// NewServer makes a server.
func NewServer(store *Store) *Server { return &Server{store: store} }

// Register puts the service on a gRPC server.
func (s *Server) Register(r grpc.ServiceRegistrar) { tracesv1.RegisterTraceServiceServer(r, s) }

// FindTraces gives the traces of the caller's site that meet every condition.
func (s *Server) FindTraces(ctx context.Context, in *tracesv1.FindTracesRequest) (*tracesv1.FindTracesResponse, error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, err
	}
	q := Query{
		Site: who.Site, About: in.GetAbout(), Person: in.GetPerson(), Service: in.GetService(), Text: in.GetText(),
		AtLeast: in.GetAtLeast().AsDuration(), ErrorsOnly: in.GetErrorsOnly(), ParkedOnly: in.GetParkedOnly(),
		Most: int(cmp.Or(in.GetPageSize(), defaultPage)),
	}
	if in.GetSince() != nil {
		q.Since = in.GetSince().AsTime()
	}
	if in.GetUntil() != nil {
		q.Until = in.GetUntil().AsTime()
	}
	if in.GetPageToken() != "" {
		if q.Before, err = strconv.ParseUint(in.GetPageToken(), 10, 64); err != nil || q.Before == 0 {
			return nil, fault.New(fault.Invalid, "PAGE_TOKEN_INVALID", "this page token is not from this list; start again").
				WithField("page_token", "unknown")
		}
	}
	found, next := s.store.Find(q)
	out := &tracesv1.FindTracesResponse{Traces: found}
	if next > 0 {
		out.NextPageToken = strconv.FormatUint(next, 10)
	}
	return out, nil
}

// GetTrace gives what the caller's site may see of a trace.
func (s *Server) GetTrace(ctx context.Context, in *tracesv1.GetTraceRequest) (*tracesv1.GetTraceResponse, error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, err
	}
	summary, spans := s.store.Get(who.Site, in.GetTraceId())
	if summary == nil {
		limits := s.store.Standing().Limits
		return nil, fault.New(fault.NotFound, "TRACE_NOT_FOUND",
			"trace %s is not here: it came within the last second, was not recorded, or is older than the %s and %d MB that are kept; look by job or time instead",
			in.GetTraceId(), days(limits.Age), limits.Bytes>>20).About("Trace", in.GetTraceId())
	}
	return &tracesv1.GetTraceResponse{Summary: summary, Spans: spans}, nil
}

// days writes an age in days, or as it is if it is shorter.
func days(age time.Duration) string {
	if age < 24*time.Hour {
		return age.String()
	}
	return strconv.Itoa(int(age/(24*time.Hour))) + " days"
}

// DescribeStore tells how full the store is.
func (s *Server) DescribeStore(ctx context.Context, _ *tracesv1.DescribeStoreRequest) (*tracesv1.DescribeStoreResponse, error) {
	if _, err := command.Caller(ctx); err != nil {
		return nil, err
	}
	st := s.store.Standing()
	out := &tracesv1.DescribeStoreResponse{
		Traces: st.Traces, Spans: st.Spans, Bytes: uint64(st.Bytes), LimitBytes: uint64(st.Limits.Bytes), //nolint:gosec // never negative
		LimitAge: durationpb.New(st.Limits.Age), Slow: durationpb.New(st.Limits.Slow),
		ReceivedSpans: st.Received, RefusedSpans: st.Refused, EvictedTraces: st.Evicted,
	}
	if !st.Oldest.IsZero() {
		out.Oldest = timestamppb.New(st.Oldest)
	}
	return out, nil
}
