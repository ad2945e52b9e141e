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

// GetStockValue implements BuyingServiceServer. The movements since then are read
// from the state page by page, so that the site's writer goes on in between.
func (s *buyingServer) GetStockValue(ctx context.Context, req *inventoryv1.GetStockValueRequest) (*inventoryv1.GetStockValueResponse, error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, err
	}
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
	v, err := s.takeBack(ctx, who.Site, at)
	if err != nil {
		return nil, err
	}
	resp := v.report()
	size := int(req.GetPageSize())
	if size == 0 {
		size = valuesOnAPage
	}
	cut(resp, req.GetPageToken(), size)
	return resp, nil
}

func (s *buyingServer) takeBack(ctx context.Context, site string, at time.Time) (*valuation, error) {
	var v *valuation
	var page []*inventoryv1.Movement
	for v == nil || !v.done {
		if _, err := s.runner.View(ctx, site, func(st *State) (err error) {
			if v == nil {
				v = st.valuation(at)
			}
			page, err = v.page(st)
			return err
		}); err != nil {
			return nil, err
		}
		v.takeBack(page)
	}
	return v, nil
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
