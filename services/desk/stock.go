package desk

import (
	"net/url"

	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/fault"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// stockView is how stock turned in some days: altogether, by part, or one part with its movements.
type stockView struct {
	From, To string
	Part     string
	T        *inventoryv1.GetStockTurnResponse
	// Away: nobody who knows the stock answers, and the rest of the page goes without.
	Away bool
	Next string
}

// stockTurn asks about whole days; of those ahead there is nothing to tell.
func (d *Desk) stockTurn(v *visit, from, to string, req *inventoryv1.GetStockTurnRequest) (*inventoryv1.GetStockTurnResponse, error) {
	first, err := d.boardDay(from)
	if err != nil {
		return nil, err
	}
	last, err := d.boardDay(to)
	if err != nil {
		return nil, err
	}
	if !first.Before(d.Now()) {
		return &inventoryv1.GetStockTurnResponse{}, nil
	}
	req.When = &commonv1.Interval{Start: timestamppb.New(first), End: timestamppb.New(last.AddDate(0, 0, 1))}
	return d.Services.Buying.GetStockTurn(v.ctx, req)
}

// stockFigures is the stock's part of the owner's page.
func (d *Desk) stockFigures(v *visit, from, to string) (stockView, error) {
	t, err := d.stockTurn(v, from, to, &inventoryv1.GetStockTurnRequest{PageSize: 1})
	if fault.KindOf(err) == fault.Unavailable {
		return stockView{From: from, To: to, Away: true}, nil
	}
	return stockView{From: from, To: to, T: t}, err
}

func (d *Desk) showStock(v *visit) error {
	from, to, err := d.figureDays(v)
	if err != nil {
		return err
	}
	view := stockView{From: from, To: to, Part: v.r.PathValue("part")}
	view.T, err = d.stockTurn(v, from, to, &inventoryv1.GetStockTurnRequest{Part: view.Part, PageSize: pageSize, PageToken: v.r.URL.Query().Get("after")})
	if err != nil {
		return err
	}
	if token := view.T.GetNextPageToken(); token != "" {
		view.Next = view.Link(view.Part) + "&after=" + url.QueryEscape(token)
	}
	return v.render("stock", view)
}

// Link leads to what is behind the figures of a part; or of all, part by part.
func (s stockView) Link(part string) string {
	path := "/figures/stock"
	if part != "" {
		path += "/" + url.PathEscape(part)
	}
	return path + "?" + url.Values{"from": {s.From}, "to": {s.To}}.Encode()
}
