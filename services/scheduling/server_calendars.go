package scheduling

import (
	"context"

	commonv1 "ramprow/proto/ramprow/common/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// SetRoster implements the service.
func (s *Server) SetRoster(ctx context.Context, req *schedulingv1.SetRosterRequest) (*schedulingv1.SetRosterResponse, error) {
	return carryOut(ctx, s, req, (*State).setRoster, func(r *schedulingv1.SetRosterResponse, receipt *commonv1.Receipt) { r.Receipt = receipt })
}

// RemoveRoster implements the service.
func (s *Server) RemoveRoster(ctx context.Context, req *schedulingv1.RemoveRosterRequest) (*schedulingv1.RemoveRosterResponse, error) {
	return carryOut(ctx, s, req, (*State).removeRoster, func(r *schedulingv1.RemoveRosterResponse, receipt *commonv1.Receipt) { r.Receipt = receipt })
}

// PlanOvertime implements the service.
func (s *Server) PlanOvertime(ctx context.Context, req *schedulingv1.PlanOvertimeRequest) (*schedulingv1.PlanOvertimeResponse, error) {
	return carryOut(ctx, s, req, (*State).planOvertime, func(r *schedulingv1.PlanOvertimeResponse, receipt *commonv1.Receipt) { r.Receipt = receipt })
}

// WithdrawOvertime implements the service.
func (s *Server) WithdrawOvertime(ctx context.Context, req *schedulingv1.WithdrawOvertimeRequest) (*schedulingv1.WithdrawOvertimeResponse, error) {
	return carryOut(ctx, s, req, (*State).withdrawOvertime, func(r *schedulingv1.WithdrawOvertimeResponse, receipt *commonv1.Receipt) { r.Receipt = receipt })
}

// PlanMaintenance implements the service.
func (s *Server) PlanMaintenance(ctx context.Context, req *schedulingv1.PlanMaintenanceRequest) (*schedulingv1.PlanMaintenanceResponse, error) {
	return carryOut(ctx, s, req, (*State).planMaintenance, func(r *schedulingv1.PlanMaintenanceResponse, receipt *commonv1.Receipt) { r.Receipt = receipt })
}

// EndMaintenance implements the service.
func (s *Server) EndMaintenance(ctx context.Context, req *schedulingv1.EndMaintenanceRequest) (*schedulingv1.EndMaintenanceResponse, error) {
	return carryOut(ctx, s, req, (*State).endMaintenance, func(r *schedulingv1.EndMaintenanceResponse, receipt *commonv1.Receipt) { r.Receipt = receipt })
}

// SetClosedDays implements the service.
func (s *Server) SetClosedDays(ctx context.Context, req *schedulingv1.SetClosedDaysRequest) (*schedulingv1.SetClosedDaysResponse, error) {
	return carryOut(ctx, s, req, (*State).setClosedDays, func(r *schedulingv1.SetClosedDaysResponse, receipt *commonv1.Receipt) { r.Receipt = receipt })
}

// RemoveClosedDay implements the service.
func (s *Server) RemoveClosedDay(ctx context.Context, req *schedulingv1.RemoveClosedDayRequest) (*schedulingv1.RemoveClosedDayResponse, error) {
	return carryOut(ctx, s, req, (*State).removeClosedDay, func(r *schedulingv1.RemoveClosedDayResponse, receipt *commonv1.Receipt) { r.Receipt = receipt })
}
