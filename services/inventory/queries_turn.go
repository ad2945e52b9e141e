package inventory

import (
	"context"
	"time"

	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// GetStockTurn implements BuyingServiceServer.
func (s *buyingServer) GetStockTurn(ctx context.Context, req *inventoryv1.GetStockTurnRequest) (*inventoryv1.GetStockTurnResponse, error) {
	from, to, err := turnWindow(req.GetWhen(), s.now())
	if err != nil {
		return nil, err
	}
	if number := req.GetPart(); number != "" {
		if err := s.get(ctx, lookup{key: partKey(number), missing: noPart(number)}, &inventoryv1.Part{}); err != nil {
			return nil, err
		}
	}
	t, err := walkBack(ctx, s, func(st *State) *turnover { return st.turnover(from, to, req.GetPart()) })
	if err != nil {
		return nil, err
	}
	r := t.report()
	if err := pageOfTurn(r, req); err != nil {
		return nil, err
	}
	return r, nil
}

// StockTurn gives all of it of a state that nobody changes, for whoever folds a log by himself.
func (st *State) StockTurn(req *inventoryv1.GetStockTurnRequest, now time.Time) (*inventoryv1.GetStockTurnResponse, error) {
	from, to, err := turnWindow(req.GetWhen(), now)
	if err != nil {
		return nil, err
	}
	t := st.turnover(from, to, req.GetPart())
	for !t.over() {
		page, err := t.page(st)
		if err != nil {
			return nil, err
		}
		t.takeBack(page)
	}
	return t.report(), nil
}
