package torqueaudit

import (
	"context"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/command"
	"ramprow/internal/platform/personal"
	"ramprow/internal/platform/readmodel"
	"ramprow/internal/platform/sitelog"
	commonv1 "ramprow/proto/ramprow/common/v1"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// Server answers the service's gRPC methods.
type Server struct {
	pb.UnimplementedTorqueAuditServiceServer

	runner *sitelog.Runner[*State]
	views  *readmodel.Views[*State]
	now    func() time.Time
	curves chan struct{} // one for each tool that sends a curve
	keys   *personal.Vault
}

// NewServer makes a server over the site's writer and its read models.
func NewServer(runner *sitelog.Runner[*State], views *readmodel.Views[*State], now func() time.Time) *Server {
	return &Server{runner: runner, views: views, now: now, curves: make(chan struct{}, maxCurves)}
}

// Revealing lets records name the customer, whose name is sealed in the logs.
func (s *Server) Revealing(keys *personal.Vault) *Server {
	s.keys = keys
	return s
}

// Register offers the service.
func (s *Server) Register(reg grpc.ServiceRegistrar) { pb.RegisterTorqueAuditServiceServer(reg, s) }

// decided runs a decision on its caller's site.
func decided[Q command.Request, R proto.Message](
	ctx context.Context, s *Server, req Q, decide func(*State, sitelog.Input, Q) ([]proto.Message, R, error),
) (R, *commonv1.Receipt, error) {
	return command.Run(ctx, s.runner, req, func(st *State, in sitelog.Input) ([]proto.Message, R, error) {
		return decide(st, in, req)
	})
}

// SetWrench registers a wrench or changes its description.
func (s *Server) SetWrench(ctx context.Context, req *pb.SetWrenchRequest) (*pb.SetWrenchResponse, error) {
	resp, receipt, err := decided(ctx, s, req, decideSetWrench)
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// RecordWrenchCheck keeps a calibration or a check on the tester. A failed one
// opens again what the wrench tightened since it was last known good.
func (s *Server) RecordWrenchCheck(ctx context.Context, req *pb.RecordWrenchCheckRequest) (*pb.RecordWrenchCheckResponse, error) {
	resp, receipt, err := decided(ctx, s, req, decideRecordCheck)
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// RecordResidual keeps what a tight fastener was found to hold.
func (s *Server) RecordResidual(ctx context.Context, req *pb.RecordResidualRequest) (*pb.RecordResidualResponse, error) {
	resp, receipt, err := decided(ctx, s, req, decideResidual)
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// MarkLookBackSeen says that the owner knows of it.
func (s *Server) MarkLookBackSeen(ctx context.Context, req *pb.MarkLookBackSeenRequest) (*pb.MarkLookBackSeenResponse, error) {
	resp, receipt, err := decided(ctx, s, req, decideLookBackSeen)
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// PostReading keeps and judges what a wrench did to one fastener.
func (s *Server) PostReading(ctx context.Context, req *pb.PostReadingRequest) (*pb.PostReadingResponse, error) {
	resp, receipt, err := decided(ctx, s, req, decidePostReading)
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// CorrectReading takes a mistaken reading out of the count.
func (s *Server) CorrectReading(ctx context.Context, req *pb.CorrectReadingRequest) (*pb.CorrectReadingResponse, error) {
	resp, receipt, err := decided(ctx, s, req, decideCorrectReading)
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// SignDeparture accepts a joint that cannot be proved as written.
func (s *Server) SignDeparture(ctx context.Context, req *pb.SignDepartureRequest) (*pb.SignDepartureResponse, error) {
	resp, receipt, err := decided(ctx, s, req, decideSignDeparture)
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// SignSheet signs by name that every joint is proved.
func (s *Server) SignSheet(ctx context.Context, req *pb.SignSheetRequest) (*pb.SignSheetResponse, error) {
	resp, receipt, err := decided(ctx, s, req, decideSignSheet)
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// PostRecheckReading keeps what was found at one fastener that is checked again.
func (s *Server) PostRecheckReading(ctx context.Context, req *pb.PostRecheckReadingRequest) (*pb.PostRecheckReadingResponse, error) {
	resp, receipt, err := decided(ctx, s, req, decideRecheckReading)
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// WaiveRecheck ends a re-check that will not be done here.
func (s *Server) WaiveRecheck(ctx context.Context, req *pb.WaiveRecheckRequest) (*pb.WaiveRecheckResponse, error) {
	resp, receipt, err := decided(ctx, s, req, decideWaiveRecheck)
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// RenewFasteners says that new fasteners were put in.
func (s *Server) RenewFasteners(ctx context.Context, req *pb.RenewFastenersRequest) (*pb.RenewFastenersResponse, error) {
	resp, receipt, err := decided(ctx, s, req, decideRenewFasteners)
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// ReopenSheet opens joints again for rework.
func (s *Server) ReopenSheet(ctx context.Context, req *pb.ReopenSheetRequest) (*pb.ReopenSheetResponse, error) {
	resp, receipt, err := decided(ctx, s, req, decideReopenSheet)
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}
