package scheduling

import (
	"context"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/command"
	"ramprow/internal/platform/readmodel"
	"ramprow/internal/platform/sitelog"
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

// SetResource implements the service.
func (s *Server) SetResource(ctx context.Context, req *schedulingv1.SetResourceRequest) (*schedulingv1.SetResourceResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req,
		func(st *State, in sitelog.Input) ([]proto.Message, *schedulingv1.SetResourceResponse, error) {
			return st.setResource(req, in)
		})
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// BlockResource implements the service.
func (s *Server) BlockResource(ctx context.Context, req *schedulingv1.BlockResourceRequest) (*schedulingv1.BlockResourceResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req,
		func(st *State, in sitelog.Input) ([]proto.Message, *schedulingv1.BlockResourceResponse, error) {
			return st.blockResource(req, in)
		})
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// UnblockResource implements the service.
func (s *Server) UnblockResource(ctx context.Context, req *schedulingv1.UnblockResourceRequest) (*schedulingv1.UnblockResourceResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req,
		func(st *State, in sitelog.Input) ([]proto.Message, *schedulingv1.UnblockResourceResponse, error) {
			return st.unblockResource(req, in)
		})
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// MoveBooking implements the service.
func (s *Server) MoveBooking(ctx context.Context, req *schedulingv1.MoveBookingRequest) (*schedulingv1.MoveBookingResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req,
		func(st *State, in sitelog.Input) ([]proto.Message, *schedulingv1.MoveBookingResponse, error) {
			return st.moveBooking(req, in)
		})
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// SwapBookings implements the service.
func (s *Server) SwapBookings(ctx context.Context, req *schedulingv1.SwapBookingsRequest) (*schedulingv1.SwapBookingsResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req,
		func(st *State, in sitelog.Input) ([]proto.Message, *schedulingv1.SwapBookingsResponse, error) {
			return st.swapBookings(req, in)
		})
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// UndoMove implements the service.
func (s *Server) UndoMove(ctx context.Context, req *schedulingv1.UndoMoveRequest) (*schedulingv1.UndoMoveResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req,
		func(st *State, in sitelog.Input) ([]proto.Message, *schedulingv1.UndoMoveResponse, error) {
			return st.undoMove(req, in)
		})
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// PinBooking implements the service.
func (s *Server) PinBooking(ctx context.Context, req *schedulingv1.PinBookingRequest) (*schedulingv1.PinBookingResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req,
		func(st *State, in sitelog.Input) ([]proto.Message, *schedulingv1.PinBookingResponse, error) {
			return st.pinBooking(req, in)
		})
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// UnpinBooking implements the service.
func (s *Server) UnpinBooking(ctx context.Context, req *schedulingv1.UnpinBookingRequest) (*schedulingv1.UnpinBookingResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req,
		func(st *State, in sitelog.Input) ([]proto.Message, *schedulingv1.UnpinBookingResponse, error) {
			return st.unpinBooking(req, in)
		})
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}
