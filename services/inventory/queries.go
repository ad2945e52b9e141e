package inventory

import (
	"context"
	"maps"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/command"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/readmodel"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// GetPart implements InventoryServiceServer.
func (s *Server) GetPart(ctx context.Context, req *inventoryv1.GetPartRequest) (*inventoryv1.GetPartResponse, error) {
	part := &inventoryv1.Part{}
	if err := s.get(ctx, lookup{partKey(req.GetPart()), req.GetMinRevision(), noPart(req.GetPart())}, part); err != nil {
		return nil, err
	}
	return &inventoryv1.GetPartResponse{Part: part}, nil
}

// FindScanned implements InventoryServiceServer. It reads the state itself, since
// who scans has just put the thing down.
func (s *Server) FindScanned(ctx context.Context, req *inventoryv1.FindScannedRequest) (*inventoryv1.FindScannedResponse, error) {
	resp := &inventoryv1.FindScannedResponse{}
	if err := s.view(ctx, func(st *State) error {
		number, err := st.scanned(req.GetCode())
		if err != nil {
			return err
		}
		p := st.parts[number]
		resp.Part, resp.HoldingJobs = p.shown(), p.holdersByJob()
		for _, c := range p.waiting.items {
			resp.WaitingJobs = append(resp.WaitingJobs, c.job)
		}
		return nil
	}); err != nil {
		return nil, err
	}
	return resp, nil
}

// GetHold implements InventoryServiceServer.
func (s *Server) GetHold(ctx context.Context, req *inventoryv1.GetHoldRequest) (*inventoryv1.GetHoldResponse, error) {
	hold := &inventoryv1.Hold{}
	if err := s.get(ctx, lookup{holdKey(req.GetJob()), req.GetMinRevision(), noHold(req.GetJob())}, hold); err != nil {
		return nil, err
	}
	return &inventoryv1.GetHoldResponse{Hold: hold}, nil
}

// GetOrder implements InventoryServiceServer.
func (s *Server) GetOrder(ctx context.Context, req *inventoryv1.GetOrderRequest) (*inventoryv1.GetOrderResponse, error) {
	order := &inventoryv1.Order{}
	if err := s.get(ctx, lookup{orderKey(req.GetOrder()), req.GetMinRevision(), noOrder(req.GetOrder())}, order); err != nil {
		return nil, err
	}
	return &inventoryv1.GetOrderResponse{Order: order}, nil
}

// ListParts implements InventoryServiceServer.
func (s *Server) ListParts(ctx context.Context, req *inventoryv1.ListPartsRequest) (*inventoryv1.ListPartsResponse, error) {
	index := indexAll
	switch {
	case req.GetNeedingOrder() && req.GetBin() != "":
		return nil, fault.New(fault.Invalid, "FILTERS_EXCLUDE", "a bin and what needs ordering cannot be asked for together; ask for one of them").
			WithField("bin", "cannot stand beside needing_order")
	case req.GetNeedingOrder():
		index = indexNeeding
	case req.GetBin() != "":
		index = indexBin(req.GetBin())
	}
	rows, next, err := list[inventoryv1.Part](ctx, s, readmodel.ListQuery{
		Model: modelParts, Index: index, Prefix: req.GetPrefix(),
		PageSize: int(req.GetPageSize()), PageToken: req.GetPageToken(), MinRevision: req.GetMinRevision(),
	})
	if err != nil {
		return nil, err
	}
	return &inventoryv1.ListPartsResponse{Parts: rows, NextPageToken: next}, nil
}

// ListHolds implements InventoryServiceServer.
func (s *Server) ListHolds(ctx context.Context, req *inventoryv1.ListHoldsRequest) (*inventoryv1.ListHoldsResponse, error) {
	index := indexAll
	if req.GetState() != inventoryv1.HoldState_HOLD_STATE_UNSPECIFIED {
		index = indexState(req.GetState())
	}
	rows, next, err := list[inventoryv1.Hold](ctx, s, readmodel.ListQuery{
		Model: modelHolds, Index: index,
		PageSize: int(req.GetPageSize()), PageToken: req.GetPageToken(), MinRevision: req.GetMinRevision(),
	})
	if err != nil {
		return nil, err
	}
	return &inventoryv1.ListHoldsResponse{Holds: rows, NextPageToken: next}, nil
}

// ListOrders implements InventoryServiceServer.
func (s *Server) ListOrders(ctx context.Context, req *inventoryv1.ListOrdersRequest) (*inventoryv1.ListOrdersResponse, error) {
	index := indexOpen
	if req.GetWithFinished() {
		index = indexAll
	}
	rows, next, err := list[inventoryv1.Order](ctx, s, readmodel.ListQuery{
		Model: modelOrders, Index: index, Descending: true,
		PageSize: int(req.GetPageSize()), PageToken: req.GetPageToken(), MinRevision: req.GetMinRevision(),
	})
	if err != nil {
		return nil, err
	}
	return &inventoryv1.ListOrdersResponse{Orders: rows, NextPageToken: next}, nil
}

// ListMovements implements InventoryServiceServer.
func (s *Server) ListMovements(ctx context.Context, req *inventoryv1.ListMovementsRequest) (*inventoryv1.ListMovementsResponse, error) {
	rows, next, err := list[inventoryv1.Movement](ctx, s, readmodel.ListQuery{
		Model: modelMovements, Index: indexMovements(req.GetPart()), Descending: true,
		PageSize: int(req.GetPageSize()), PageToken: req.GetPageToken(), MinRevision: req.GetMinRevision(),
	})
	if err != nil {
		return nil, err
	}
	return &inventoryv1.ListMovementsResponse{Movements: rows, NextPageToken: next}, nil
}

// ProposeOrders implements InventoryServiceServer. It is computed from the state
// itself, since it depends on the day.
func (s *Server) ProposeOrders(ctx context.Context, _ *inventoryv1.ProposeOrdersRequest) (*inventoryv1.ProposeOrdersResponse, error) {
	now := s.now()
	var questions []question
	var terms map[string]*inventoryv1.Supplier
	if err := s.view(ctx, func(st *State) error {
		questions, terms = st.questions(now), maps.Clone(st.suppliers.terms)
		return nil
	}); err != nil {
		return nil, err
	}
	list, err := shop(questions, terms, now)
	if err != nil {
		return nil, err
	}
	return &inventoryv1.ProposeOrdersResponse{Proposals: list.proposals}, nil
}

// WatchParts implements InventoryServiceServer.
func (s *Server) WatchParts(_ *inventoryv1.WatchPartsRequest, stream grpc.ServerStreamingServer[inventoryv1.WatchPartsResponse]) error {
	who, err := command.Caller(stream.Context())
	if err != nil {
		return err
	}
	query := readmodel.WatchQuery{
		Site:    who.Site,
		Filter:  func(k readmodel.Key) bool { return k.Model == modelParts || k.Model == modelHolds },
		Present: true,
	}
	return s.views.Watch(stream.Context(), query, func(c readmodel.Change) error {
		resp := &inventoryv1.WatchPartsResponse{Revision: c.Revision}
		switch row := c.Row.(type) {
		case *inventoryv1.Part:
			resp.Part = row
		case *inventoryv1.Hold:
			resp.Hold = row
		}
		return stream.Send(resp)
	})
}

// view asks the state of the caller's site.
func (s *Server) view(ctx context.Context, ask func(*State) error) error {
	who, err := command.Caller(ctx)
	if err != nil {
		return err
	}
	_, err = s.runner.View(ctx, who.Site, ask)
	return err
}

// lookup asks for one row.
type lookup struct {
	key         readmodel.Key
	minRevision uint64
	missing     error // what to say if there is none
}

func (s *Server) get(ctx context.Context, l lookup, out proto.Message) error {
	who, err := command.Caller(ctx)
	if err != nil {
		return err
	}
	_, err = s.views.Get(ctx, who.Site, l.key, l.minRevision, out)
	if fault.KindOf(err) == fault.NotFound {
		return l.missing
	}
	return err
}

// message is a pointer to a generated message of type M.
type message[M any] interface {
	*M
	proto.Message
}

// list reads one page of rows of type M at the caller's site.
func list[M any, P message[M]](ctx context.Context, s *Server, q readmodel.ListQuery) (rows []*M, next string, err error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, "", err
	}
	q.Site = who.Site
	page, err := s.views.List(ctx, q, func() proto.Message { return P(new(M)) })
	if err != nil {
		return nil, "", err
	}
	for _, r := range page.Rows {
		if m, is := r.(P); is {
			rows = append(rows, m)
		}
	}
	return rows, page.NextToken, nil
}
