package inventory

import (
	"context"

	"ramprow/internal/platform/command"
	"ramprow/internal/platform/readmodel"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// ReportFailedPart implements InventoryServiceServer.
func (s *Server) ReportFailedPart(ctx context.Context, req *inventoryv1.ReportFailedPartRequest) (*inventoryv1.ReportFailedPartResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req, with(reportFailedPart, req))
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// SetApart implements InventoryServiceServer.
func (s *Server) SetApart(ctx context.Context, req *inventoryv1.SetApartRequest) (*inventoryv1.SetApartResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req, with(setApart, req))
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// ReceiveOldUnit implements InventoryServiceServer.
func (s *Server) ReceiveOldUnit(ctx context.Context, req *inventoryv1.ReceiveOldUnitRequest) (*inventoryv1.ReceiveOldUnitResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req, with(receiveOldUnit, req))
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// SendReturns implements InventoryServiceServer.
func (s *Server) SendReturns(ctx context.Context, req *inventoryv1.SendReturnsRequest) (*inventoryv1.SendReturnsResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req, with(sendReturns, req))
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// CloseReturn implements InventoryServiceServer.
func (s *Server) CloseReturn(ctx context.Context, req *inventoryv1.CloseReturnRequest) (*inventoryv1.CloseReturnResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req, with(closeReturn, req))
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// GetReturn implements InventoryServiceServer.
func (s *Server) GetReturn(ctx context.Context, req *inventoryv1.GetReturnRequest) (*inventoryv1.GetReturnResponse, error) {
	r := &inventoryv1.Return{}
	if err := s.get(ctx, lookup{returnKey(req.GetReturn()), req.GetMinRevision(), noReturn(req.GetReturn())}, r); err != nil {
		return nil, err
	}
	return &inventoryv1.GetReturnResponse{Return: r}, nil
}

// ListReturns implements InventoryServiceServer.
func (s *Server) ListReturns(ctx context.Context, req *inventoryv1.ListReturnsRequest) (*inventoryv1.ListReturnsResponse, error) {
	index := indexOpen
	switch {
	case req.GetOfJob() != "":
		index = indexJob(req.GetOfJob())
	case req.GetWithFinished():
		index = indexAll
	}
	rows, next, err := list[inventoryv1.Return](ctx, s, readmodel.ListQuery{
		Model: modelReturns, Index: index,
		PageSize: int(req.GetPageSize()), PageToken: req.GetPageToken(), MinRevision: req.GetMinRevision(),
	})
	if err != nil {
		return nil, err
	}
	return &inventoryv1.ListReturnsResponse{Returns: rows, NextPageToken: next}, nil
}
