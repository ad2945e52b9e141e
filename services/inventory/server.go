package inventory

import (
	"context"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/command"
	"ramprow/internal/platform/readmodel"
	"ramprow/internal/platform/sitelog"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// Server answers the inventory's gRPC methods: commands by the site's log,
// queries by the read models.
type Server struct {
	inventoryv1.UnimplementedInventoryServiceServer

	runner *sitelog.Runner[*State]
	views  *readmodel.Views[*State]
	now    func() time.Time
}

// NewServer makes a server.
func NewServer(runner *sitelog.Runner[*State], views *readmodel.Views[*State], now func() time.Time) *Server {
	return &Server{runner: runner, views: views, now: now}
}

// Register makes the methods known to a gRPC server.
func (s *Server) Register(reg grpc.ServiceRegistrar) {
	inventoryv1.RegisterInventoryServiceServer(reg, s)
	inventoryv1.RegisterBuyingServiceServer(reg, &buyingServer{Server: s})
}

// SetPart implements InventoryServiceServer.
func (s *Server) SetPart(ctx context.Context, req *inventoryv1.SetPartRequest) (*inventoryv1.SetPartResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req, with(setPart, req))
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// ImportParts implements InventoryServiceServer.
func (s *Server) ImportParts(ctx context.Context, req *inventoryv1.ImportPartsRequest) (*inventoryv1.ImportPartsResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req, with(importParts, req))
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// ReceiveGoods implements InventoryServiceServer.
func (s *Server) ReceiveGoods(ctx context.Context, req *inventoryv1.ReceiveGoodsRequest) (*inventoryv1.ReceiveGoodsResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req, with(receiveGoods, req))
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// CountShelf implements InventoryServiceServer.
func (s *Server) CountShelf(ctx context.Context, req *inventoryv1.CountShelfRequest) (*inventoryv1.CountShelfResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req, with(countShelf, req))
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// ScrapPart implements InventoryServiceServer.
func (s *Server) ScrapPart(ctx context.Context, req *inventoryv1.ScrapPartRequest) (*inventoryv1.ScrapPartResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req, with(scrapPart, req))
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// IssueParts implements InventoryServiceServer.
func (s *Server) IssueParts(ctx context.Context, req *inventoryv1.IssuePartsRequest) (*inventoryv1.IssuePartsResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req, with(issueParts, req))
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// ReturnParts implements InventoryServiceServer.
func (s *Server) ReturnParts(ctx context.Context, req *inventoryv1.ReturnPartsRequest) (*inventoryv1.ReturnPartsResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req, with(returnParts, req))
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// ReleaseHold implements InventoryServiceServer.
func (s *Server) ReleaseHold(ctx context.Context, req *inventoryv1.ReleaseHoldRequest) (*inventoryv1.ReleaseHoldResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req, with(releaseHold, req))
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// RenewHold implements InventoryServiceServer.
func (s *Server) RenewHold(ctx context.Context, req *inventoryv1.RenewHoldRequest) (*inventoryv1.RenewHoldResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req, with(renewHold, req))
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// HoldParts implements InventoryServiceServer.
func (s *Server) HoldParts(ctx context.Context, req *inventoryv1.HoldPartsRequest) (*inventoryv1.HoldPartsResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req, with(holdParts, req))
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// ReallocateParts implements InventoryServiceServer.
func (s *Server) ReallocateParts(ctx context.Context, req *inventoryv1.ReallocatePartsRequest) (*inventoryv1.ReallocatePartsResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req, with(reallocateParts, req))
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// PlaceOrder implements InventoryServiceServer.
func (s *Server) PlaceOrder(ctx context.Context, req *inventoryv1.PlaceOrderRequest) (*inventoryv1.PlaceOrderResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req, with(placeOrder, req))
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// ConfirmOrder implements InventoryServiceServer.
func (s *Server) ConfirmOrder(ctx context.Context, req *inventoryv1.ConfirmOrderRequest) (*inventoryv1.ConfirmOrderResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req, with(confirmOrder, req))
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// CancelOrder implements InventoryServiceServer.
func (s *Server) CancelOrder(ctx context.Context, req *inventoryv1.CancelOrderRequest) (*inventoryv1.CancelOrderResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req, with(cancelOrder, req))
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// with gives a decision its request.
func with[Q command.Request, R proto.Message](
	decide func(*State, sitelog.Input, Q) ([]proto.Message, R, error), req Q,
) command.Decide[*State, R] {
	return func(st *State, in sitelog.Input) ([]proto.Message, R, error) {
		if f := st.lacks(req); f != nil {
			var none R
			return nil, none, f
		}
		return decide(st, in, req)
	}
}
