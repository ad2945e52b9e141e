package inventory

import (
	"context"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/command"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/readmodel"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// buyingServer answers BuyingService over the same writer and views.
type buyingServer struct {
	inventoryv1.UnimplementedBuyingServiceServer
	*Server
}

// CorrectCost implements BuyingServiceServer.
func (s *buyingServer) CorrectCost(ctx context.Context, req *inventoryv1.CorrectCostRequest) (*inventoryv1.CorrectCostResponse, error) {
	resp, receipt, err := command.Run(ctx, s.runner, req, with(correctCost, req))
	if err != nil {
		return nil, err
	}
	resp.Receipt = receipt
	return resp, nil
}

// valuesOnAPage is how many parts an answer has if nobody says, and becauseOf how
// many movements explain one part.
const (
	valuesOnAPage = 500
	becauseOf     = 10
)

// GetStockValue implements BuyingServiceServer.
func (s *buyingServer) GetStockValue(ctx context.Context, req *inventoryv1.GetStockValueRequest) (*inventoryv1.GetStockValueResponse, error) {
	at := s.now()
	if req.GetAt() != nil {
		if at = req.GetAt().AsTime(); at.After(s.now()) {
			return nil, fault.New(fault.Invalid, "TIME_AHEAD", "nobody knows yet what will lie there; ask for now or a time before").
				WithField("at", "lies ahead")
		}
	}
	if req.GetPart() != "" {
		return s.valueOf(ctx, req.GetPart(), at)
	}
	v, err := walkBack(ctx, s, func(st *State) *valuation { return st.valuation(at) })
	if err != nil {
		return nil, err
	}
	resp := v.report()
	cut(resp, req.GetPageToken(), sizeOf(req.GetPageSize()))
	return resp, nil
}

// backwards is what takes movements back until it knows enough.
type backwards interface {
	page(st *State) ([]*inventoryv1.Movement, error)
	takeBack(movements []*inventoryv1.Movement)
	over() bool
}

// walkBack begins with the state as it is. The state is asked page by page, so that
// the site's writer goes on in between.
func walkBack[W backwards](ctx context.Context, s *buyingServer, begin func(st *State) W) (w W, err error) {
	begun := false
	var page []*inventoryv1.Movement
	for !begun || !w.over() {
		if err := s.view(ctx, func(st *State) (err error) {
			if !begun {
				w, begun = begin(st), true
			}
			page, err = w.page(st)
			return err
		}); err != nil {
			return w, err
		}
		w.takeBack(page)
	}
	return w, nil
}

// valueOf answers for one part, from its own movements alone.
func (s *buyingServer) valueOf(ctx context.Context, number string, at time.Time) (*inventoryv1.GetStockValueResponse, error) {
	about := &inventoryv1.Part{}
	if err := s.get(ctx, lookup{key: partKey(number), missing: noPart(number)}, about); err != nil {
		return nil, err
	}
	before, err := s.movementsBefore(ctx, number, at)
	if err != nil {
		return nil, err
	}
	l := lying{about: about}
	resp := &inventoryv1.GetStockValueResponse{At: timestamppb.New(at), Why: []string{"nothing had moved yet"}}
	if len(before) > 0 {
		last := before[0]
		l.quantity, l.value, l.currency = last.GetOnHandAfter(), last.GetValueAfterMinorUnits(), last.GetCurrencyCode()
		resp.Why = nil
		if l.currency == "" && about.GetValue() != nil {
			resp.Why = append(resp.Why, "what it was worth then is not known: "+unvaluedWhy)
		}
		for _, m := range before {
			resp.Why = append(resp.Why, movementLine(m))
		}
	}
	if l.quantity > 0 {
		resp.PartsThere = 1
	}
	resp.Parts = []*inventoryv1.StockValue{l.shown()}
	if l.currency != "" {
		resp.Totals = []*commonv1.Money{money(l.value, l.currency)}
	} else {
		resp.PartsWithoutCost = resp.GetPartsThere()
	}
	return resp, nil
}

// movementsBefore gives a part's newest movements that are not after a time, the
// newest first.
func (s *buyingServer) movementsBefore(ctx context.Context, number string, at time.Time) ([]*inventoryv1.Movement, error) {
	var before []*inventoryv1.Movement
	for token := ""; ; {
		rows, next, err := list[inventoryv1.Movement](ctx, s.Server, readmodel.ListQuery{
			Model: modelMovements, Index: indexMovements(number), Descending: true, PageSize: valuesOnAPage, PageToken: token,
		})
		if err != nil {
			return nil, err
		}
		for _, m := range rows {
			if len(before) == 0 && m.GetAt().AsTime().After(at) {
				continue
			}
			if before = append(before, m); len(before) == becauseOf {
				return before, nil
			}
		}
		if token = next; token == "" {
			return before, nil
		}
	}
}
