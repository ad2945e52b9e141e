package scheduling

import (
	"context"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/command"
	"ramprow/internal/platform/sitelog"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// SetRoster implements the service.
func (s *Server) SetRoster(ctx context.Context, req *schedulingv1.SetRosterRequest) (*schedulingv1.SetRosterResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req,
		func(st *State, in sitelog.Input) ([]proto.Message, *schedulingv1.SetRosterResponse, error) {
			return st.setRoster(req, in)
		})
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// RemoveRoster implements the service.
func (s *Server) RemoveRoster(ctx context.Context, req *schedulingv1.RemoveRosterRequest) (*schedulingv1.RemoveRosterResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req,
		func(st *State, in sitelog.Input) ([]proto.Message, *schedulingv1.RemoveRosterResponse, error) {
			return st.removeRoster(req, in)
		})
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// PlanOvertime implements the service.
func (s *Server) PlanOvertime(ctx context.Context, req *schedulingv1.PlanOvertimeRequest) (*schedulingv1.PlanOvertimeResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req,
		func(st *State, in sitelog.Input) ([]proto.Message, *schedulingv1.PlanOvertimeResponse, error) {
			return st.planOvertime(req, in)
		})
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// WithdrawOvertime implements the service.
func (s *Server) WithdrawOvertime(ctx context.Context, req *schedulingv1.WithdrawOvertimeRequest) (*schedulingv1.WithdrawOvertimeResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req,
		func(st *State, in sitelog.Input) ([]proto.Message, *schedulingv1.WithdrawOvertimeResponse, error) {
			return st.withdrawOvertime(req, in)
		})
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// PlanMaintenance implements the service.
func (s *Server) PlanMaintenance(ctx context.Context, req *schedulingv1.PlanMaintenanceRequest) (*schedulingv1.PlanMaintenanceResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req,
		func(st *State, in sitelog.Input) ([]proto.Message, *schedulingv1.PlanMaintenanceResponse, error) {
			return st.planMaintenance(req, in)
		})
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// EndMaintenance implements the service.
func (s *Server) EndMaintenance(ctx context.Context, req *schedulingv1.EndMaintenanceRequest) (*schedulingv1.EndMaintenanceResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req,
		func(st *State, in sitelog.Input) ([]proto.Message, *schedulingv1.EndMaintenanceResponse, error) {
			return st.endMaintenance(req, in)
		})
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// SetClosedDays implements the service.
func (s *Server) SetClosedDays(ctx context.Context, req *schedulingv1.SetClosedDaysRequest) (*schedulingv1.SetClosedDaysResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req,
		func(st *State, in sitelog.Input) ([]proto.Message, *schedulingv1.SetClosedDaysResponse, error) {
			return st.setClosedDays(req, in)
		})
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// RemoveClosedDay implements the service.
func (s *Server) RemoveClosedDay(ctx context.Context, req *schedulingv1.RemoveClosedDayRequest) (*schedulingv1.RemoveClosedDayResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req,
		func(st *State, in sitelog.Input) ([]proto.Message, *schedulingv1.RemoveClosedDayResponse, error) {
			return st.removeClosedDay(req, in)
		})
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}
