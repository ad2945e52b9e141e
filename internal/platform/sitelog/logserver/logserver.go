// Package logserver answers LogService over a service's own log: how far it
// goes, what is parked, and what becomes of it.
package logserver

import (
	"context"
	"slices"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/command"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/rpc"
	"ramprow/internal/platform/sitelog"
	commonv1 "ramprow/proto/ramprow/common/v1"
	logv1 "ramprow/proto/ramprow/log/v1"
)

const defaultPage = 50

// runner is what is asked; *sitelog.Runner of any state is one.
type runner interface {
	Describe(ctx context.Context, site string) (sitelog.Description, error)
	Parked(ctx context.Context, site string) ([]sitelog.ParkedEvent, error)
	Release(ctx context.Context, site string, c sitelog.ReleaseCommand) (sitelog.Outcome, error)
	Drop(ctx context.Context, site string, c sitelog.DropCommand) (sitelog.Outcome, error)
}

// Server answers LogService.
type Server struct {
	logv1.UnimplementedLogServiceServer

	service string
	runner  runner
}

// New makes a server for one service's log.
func New(service string, r runner) *Server { return &Server{service: service, runner: r} }

// Register puts the service on a gRPC server.
func (s *Server) Register(r grpc.ServiceRegistrar) { logv1.RegisterLogServiceServer(r, s) }

// DescribeLog tells how far the log goes.
func (s *Server) DescribeLog(ctx context.Context, _ *logv1.DescribeLogRequest) (*logv1.DescribeLogResponse, error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, err
	}
	d, err := s.runner.Describe(ctx, who.Site)
	if err != nil {
		return nil, err
	}
	return &logv1.DescribeLogResponse{
		Service: s.service, Site: who.Site, Revision: d.Revision, Commits: d.Commits, Positions: d.Positions,
		Parked: uint32(d.Parked), //nolint:gosec // a count of what is in memory
	}, nil
}

// ListParked gives what could not be handled, by the last one seen as page token.
func (s *Server) ListParked(ctx context.Context, req *logv1.ListParkedRequest) (*logv1.ListParkedResponse, error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, err
	}
	parked, err := s.runner.Parked(ctx, who.Site)
	if err != nil {
		return nil, err
	}
	if token := req.GetPageToken(); token != "" {
		i := slices.IndexFunc(parked, func(p sitelog.ParkedEvent) bool { return p.ID == token })
		if i < 0 {
			return nil, fault.New(fault.Invalid, "PAGE_TOKEN_INVALID", "this page token is not from this list, or its event is settled; start again").
				WithField("page_token", "unknown")
		}
		parked = parked[i+1:]
	}
	size := int(req.GetPageSize())
	if size == 0 {
		size = defaultPage
	}
	response := &logv1.ListParkedResponse{}
	if len(parked) > size {
		parked = parked[:size]
		response.NextPageToken = parked[size-1].ID
	}
	for _, p := range parked {
		response.Parked = append(response.Parked, message(p))
	}
	return response, nil
}

func message(p sitelog.ParkedEvent) *logv1.ParkedEvent {
	return &logv1.ParkedEvent{
		Id: p.ID, Service: p.Service, Sequence: p.Sequence, Event: p.Event, Error: p.Error, Attempts: p.Attempts,
		ParkedAt: timestamppb.New(p.ParkedAt),
	}
}

// ReleaseParked tries a parked event again.
func (s *Server) ReleaseParked(ctx context.Context, req *logv1.ReleaseParkedRequest) (*logv1.ReleaseParkedResponse, error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, err
	}
	outcome, err := s.runner.Release(ctx, who.Site, sitelog.ReleaseCommand{Request: req, Actor: command.ActorOf(who)})
	if err != nil {
		return nil, err
	}
	response, ok := outcome.Response.(*logv1.ReleaseParkedResponse)
	if !ok {
		return nil, fault.New(fault.Internal, "ANSWER_TYPE", "the log holds a %T as the answer", outcome.Response)
	}
	response.Receipt = receipt(ctx, outcome)
	return response, nil
}

// DropParked gives a parked event up.
func (s *Server) DropParked(ctx context.Context, req *logv1.DropParkedRequest) (*logv1.DropParkedResponse, error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, err
	}
	outcome, err := s.runner.Drop(ctx, who.Site, sitelog.DropCommand{Request: req, Actor: command.ActorOf(who)})
	if err != nil {
		return nil, err
	}
	return &logv1.DropParkedResponse{Receipt: receipt(ctx, outcome)}, nil
}

func receipt(ctx context.Context, o sitelog.Outcome) *commonv1.Receipt {
	return rpc.Receipt(ctx, rpc.Commitment{Revision: o.Revision, CommittedAt: o.CommittedAt, Repeated: o.Repeated})
}
