package inventory

import (
	"context"
	"maps"
	"time"

	"ramprow/internal/platform/fault"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// A day's list reaches so far at most; without an end it is for a day.
const (
	oneDay      = 24 * time.Hour
	longestList = 31 * oneDay
)

// GetMorning implements InventoryServiceServer. It is computed from the state
// itself, since it depends on the day.
func (s *Server) GetMorning(ctx context.Context, req *inventoryv1.GetMorningRequest) (*inventoryv1.GetMorningResponse, error) {
	now := s.now()
	until := now.Add(oneDay)
	if req.GetUntil() != nil {
		until = req.GetUntil().AsTime()
	}
	if until.Before(now) || until.After(now.Add(longestList)) {
		return nil, fault.New(fault.Invalid, "DAY_INVALID", "the list is for what lies ahead, a month at most; ask for another end").
			WithField("until", "must lie between now and %s", now.Add(longestList).Format(time.RFC3339))
	}
	var resp *inventoryv1.GetMorningResponse
	var asked []question
	var terms map[string]*inventoryv1.Supplier
	if err := s.view(ctx, func(st *State) error {
		resp, asked, terms = st.morning(now, until), st.questions(now), maps.Clone(st.suppliers.terms)
		return nil
	}); err != nil {
		return nil, err
	}
	list, err := shop(asked, terms, now)
	if err != nil {
		return nil, err
	}
	resp.Orders = list.orders
	if resp.Idle, err = idle(asked); err != nil {
		return nil, err
	}
	return resp, nil
}

// ExplainPart implements InventoryServiceServer.
func (s *Server) ExplainPart(ctx context.Context, req *inventoryv1.ExplainPartRequest) (*inventoryv1.ExplainPartResponse, error) {
	var resp *inventoryv1.ExplainPartResponse
	err := s.view(ctx, func(st *State) (err error) {
		resp, err = st.explain(req.GetPart())
		return err
	})
	return resp, err
}
