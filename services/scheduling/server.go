package scheduling

import (
	"context"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/command"
	"ramprow/internal/platform/readmodel"
	"ramprow/internal/platform/sitelog"
	commonv1 "ramprow/proto/ramprow/common/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// Server answers ramprow.scheduling.v1.SchedulingService.
type Server struct {
	schedulingv1.UnimplementedSchedulingServiceServer

	runner *sitelog.Runner[*State]
	views  *readmodel.Views[*State]
	now    func() time.Time
}

// NewServer makes a server over a runner and its read models. What is decided takes
// its time from the log; now is for questions that decide nothing.
func NewServer(runner *sitelog.Runner[*State], views *readmodel.Views[*State], now func() time.Time) *Server {
	return &Server{runner: runner, views: views, now: now}
}

// Register offers the service.
func (s *Server) Register(reg grpc.ServiceRegistrar) {
	schedulingv1.RegisterSchedulingServiceServer(reg, s)
}

// carryOut has the writer decide on a command and answers with its receipt.
func carryOut[Q command.Request, R proto.Message](
	ctx context.Context, s *Server, req Q,
	decide func(*State, Q, sitelog.Input) ([]proto.Message, R, error), sign func(R, *commonv1.Receipt),
) (R, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req, func(st *State, in sitelog.Input) ([]proto.Message, R, error) {
		return decide(st, req, in)
	})
	if err != nil {
		var none R
		return none, err
	}
	sign(resp, receipt)
	return resp, nil
}

// SetResource implements the service.
func (s *Server) SetResource(ctx context.Context, req *schedulingv1.SetResourceRequest) (*schedulingv1.SetResourceResponse, error) {
	return carryOut(ctx, s, req, (*State).setResource, func(r *schedulingv1.SetResourceResponse, receipt *commonv1.Receipt) { r.Receipt = receipt })
}

// BlockResource implements the service.
func (s *Server) BlockResource(ctx context.Context, req *schedulingv1.BlockResourceRequest) (*schedulingv1.BlockResourceResponse, error) {
	return carryOut(ctx, s, req, (*State).blockResource, func(r *schedulingv1.BlockResourceResponse, receipt *commonv1.Receipt) { r.Receipt = receipt })
}

// UnblockResource implements the service.
func (s *Server) UnblockResource(ctx context.Context, req *schedulingv1.UnblockResourceRequest) (*schedulingv1.UnblockResourceResponse, error) {
	return carryOut(ctx, s, req, (*State).unblockResource, func(r *schedulingv1.UnblockResourceResponse, receipt *commonv1.Receipt) { r.Receipt = receipt })
}

// MoveBooking implements the service.
func (s *Server) MoveBooking(ctx context.Context, req *schedulingv1.MoveBookingRequest) (*schedulingv1.MoveBookingResponse, error) {
	return carryOut(ctx, s, req, (*State).moveBooking, func(r *schedulingv1.MoveBookingResponse, receipt *commonv1.Receipt) { r.Receipt = receipt })
}

// SwapBookings implements the service.
func (s *Server) SwapBookings(ctx context.Context, req *schedulingv1.SwapBookingsRequest) (*schedulingv1.SwapBookingsResponse, error) {
	return carryOut(ctx, s, req, (*State).swapBookings, func(r *schedulingv1.SwapBookingsResponse, receipt *commonv1.Receipt) { r.Receipt = receipt })
}

// UndoMove implements the service.
func (s *Server) UndoMove(ctx context.Context, req *schedulingv1.UndoMoveRequest) (*schedulingv1.UndoMoveResponse, error) {
	return carryOut(ctx, s, req, (*State).undoMove, func(r *schedulingv1.UndoMoveResponse, receipt *commonv1.Receipt) { r.Receipt = receipt })
}

// PinBooking implements the service.
func (s *Server) PinBooking(ctx context.Context, req *schedulingv1.PinBookingRequest) (*schedulingv1.PinBookingResponse, error) {
	return carryOut(ctx, s, req, (*State).pinBooking, func(r *schedulingv1.PinBookingResponse, receipt *commonv1.Receipt) { r.Receipt = receipt })
}

// UnpinBooking implements the service.
func (s *Server) UnpinBooking(ctx context.Context, req *schedulingv1.UnpinBookingRequest) (*schedulingv1.UnpinBookingResponse, error) {
	return carryOut(ctx, s, req, (*State).unpinBooking, func(r *schedulingv1.UnpinBookingResponse, receipt *commonv1.Receipt) { r.Receipt = receipt })
}
