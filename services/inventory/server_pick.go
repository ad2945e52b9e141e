package inventory

import (
	"context"

	"ramprow/internal/platform/command"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// GetPick implements InventoryServiceServer.
func (s *Server) GetPick(ctx context.Context, req *inventoryv1.GetPickRequest) (*inventoryv1.GetPickResponse, error) {
	hold := &inventoryv1.Hold{}
	if err := s.get(ctx, lookup{holdKey(req.GetJob()), req.GetMinRevision(), noHold(req.GetJob())}, hold); err != nil {
		return nil, err
	}
	return &inventoryv1.GetPickResponse{Pick: pickOf(hold)}, nil
}

// PickPart implements InventoryServiceServer.
func (s *Server) PickPart(ctx context.Context, req *inventoryv1.PickPartRequest) (*inventoryv1.PickPartResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req, with(pickPart, req))
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// ReportShortPick implements InventoryServiceServer.
func (s *Server) ReportShortPick(ctx context.Context, req *inventoryv1.ReportShortPickRequest) (*inventoryv1.ReportShortPickResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req, with(reportShortPick, req))
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// FinishPick implements InventoryServiceServer.
func (s *Server) FinishPick(ctx context.Context, req *inventoryv1.FinishPickRequest) (*inventoryv1.FinishPickResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req, with(finishPick, req))
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// PutPartsAway implements InventoryServiceServer.
func (s *Server) PutPartsAway(ctx context.Context, req *inventoryv1.PutPartsAwayRequest) (*inventoryv1.PutPartsAwayResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req, with(putPartsAway, req))
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}
