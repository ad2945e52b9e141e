package desk

import (
	"strings"

	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// shelfView is the clerk's morning: what comes, what to pick, what to order.
type shelfView struct {
	Orders    []*inventoryv1.Order
	Picks     []*inventoryv1.Hold
	Short     []*inventoryv1.Hold
	Proposals []*inventoryv1.Proposal
	Counts    []*inventoryv1.CountQuestion
	PutBack   []*inventoryv1.PutBack
	Returns   []*inventoryv1.Return
	// How many of each stand on no page until those before them are dealt with.
	MoreOrders, MorePicks, MoreShort, MoreProposals, MoreCounts, MorePutBack, MoreReturns int
}

// shorten keeps every list as long as a person reads.
func (s *shelfView) shorten() {
	s.Orders, s.MoreOrders = shorten(s.Orders)
	s.Picks, s.MorePicks = shorten(s.Picks)
	s.Short, s.MoreShort = shorten(s.Short)
	s.Proposals, s.MoreProposals = shorten(s.Proposals)
	s.Counts, s.MoreCounts = shorten(s.Counts)
	s.PutBack, s.MorePutBack = shorten(s.PutBack)
	s.Returns, s.MoreReturns = shorten(s.Returns)
}

// urgentFirst lists what to order: what jobs wait for before what the shelf lacks.
func urgentFirst(orders []*inventoryv1.SupplierOrder) []*inventoryv1.Proposal {
	var urgent, rest []*inventoryv1.Proposal
	for _, o := range orders {
		for _, p := range o.GetLines() {
			if len(p.GetJobs()) > 0 {
				urgent = append(urgent, p)
			} else {
				rest = append(rest, p)
			}
		}
	}
	return append(urgent, rest...)
}

func (d *Desk) showShelf(v *visit) error {
	orders, err := d.Services.Inventory.ListOrders(v.ctx, &inventoryv1.ListOrdersRequest{PageSize: pageSize, MinRevision: v.at()})
	if err != nil {
		return err
	}
	holds, err := d.Services.Inventory.ListHolds(v.ctx, &inventoryv1.ListHoldsRequest{PageSize: pageSize, MinRevision: v.at()})
	if err != nil {
		return err
	}
	day, err := d.Services.Inventory.GetMorning(v.ctx, &inventoryv1.GetMorningRequest{})
	if err != nil {
		return err
	}
	view := shelfView{Orders: orders.GetOrders(), Counts: day.GetCounts(), PutBack: day.GetPutBack(), Returns: day.GetReturns(), Proposals: urgentFirst(day.GetOrders())}
	for _, h := range holds.GetHolds() {
		if len(heldLines(h)) > 0 {
			view.Picks = append(view.Picks, h)
		}
		if h.GetState() == inventoryv1.HoldState_HOLD_STATE_SHORT {
			view.Short = append(view.Short, h)
		}
	}
	view.shorten()
	return v.render("shelf", view)
}

// heldLines are the ids of what lies ready for a job.
func heldLines(h *inventoryv1.Hold) []string {
	var lines []string
	for _, l := range h.GetLines() {
		if l.GetState() == inventoryv1.LineState_LINE_STATE_HELD {
			lines = append(lines, l.GetLine())
		}
	}
	return lines
}

// findPart looks for what was typed or scanned: a part's whole number leads straight to it.
func (d *Desk) findPart(v *visit) error {
	text := strings.ToUpper(strings.TrimSpace(v.r.URL.Query().Get("q")))
	if len(text) > 40 {
		return badField("q", "must be a part's number or its beginning")
	}
	r, err := d.Services.Inventory.ListParts(v.ctx, &inventoryv1.ListPartsRequest{PageSize: 50, Prefix: text})
	if err != nil {
		return err
	}
	if len(r.GetParts()) == 1 && r.GetParts()[0].GetNumber() == text {
		return v.goTo("/shelf/parts/" + text)
	}
	return v.render("find", struct {
		Text  string
		Parts []*inventoryv1.Part
		More  bool
	}{text, r.GetParts(), r.GetNextPageToken() != ""})
}

// partView is one part with how its figure came about.
type partView struct {
	Part      *inventoryv1.Part
	Movements []*inventoryv1.Movement
	Why       []string
	Causes    []inventoryv1.CountCause
}

func (d *Desk) showPart(v *visit) error {
	number := v.r.PathValue("part")
	p, err := d.Services.Inventory.GetPart(v.ctx, &inventoryv1.GetPartRequest{Part: number, MinRevision: v.at()})
	if err != nil {
		return err
	}
	m, err := d.Services.Inventory.ListMovements(v.ctx, &inventoryv1.ListMovementsRequest{Part: number, PageSize: 50, MinRevision: v.at()})
	if err != nil {
		return err
	}
	why, err := d.Services.Inventory.ExplainPart(v.ctx, &inventoryv1.ExplainPartRequest{Part: number})
	if err != nil {
		return err
	}
	return v.render("part", partView{Part: p.GetPart(), Movements: m.GetMovements(), Why: why.GetWhy(), Causes: countCauses()})
}

func (d *Desk) countPart(v *visit) error {
	counted, err := v.whole("counted")
	if err != nil {
		return err
	}
	number := v.r.PathValue("part")
	r, err := d.Services.Inventory.CountShelf(v.ctx, &inventoryv1.CountShelfRequest{
		RequestId: v.requestID(), Part: number, Counted: counted, Reason: v.form("reason"), Cause: causeOf(v.form("cause")),
	})
	if err != nil {
		return err
	}
	if r.GetQuestion() != nil {
		return v.done("/shelf/parts/"+number, "countedonce", r.GetReceipt())
	}
	return v.done("/shelf/parts/"+number, "counted", r.GetReceipt())
}

func (d *Desk) receivePart(v *visit) error {
	quantity, err := v.whole("quantity")
	if err != nil {
		return err
	}
	number := v.r.PathValue("part")
	r, err := d.Services.Inventory.ReceiveGoods(v.ctx, &inventoryv1.ReceiveGoodsRequest{
		RequestId: v.requestID(), Lines: []*inventoryv1.ReceivedLine{{Part: number, Quantity: quantity}}, Note: v.form("note"),
	})
	if err != nil {
		return err
	}
	return v.done("/shelf/parts/"+number, "received", r.GetReceipt())
}

// placeOrder orders what one proposal says, in the quantity that the clerk wants.
func (d *Desk) placeOrder(v *visit) error {
	quantity, err := v.whole("quantity")
	if err != nil {
		return err
	}
	r, err := d.Services.Inventory.PlaceOrder(v.ctx, &inventoryv1.PlaceOrderRequest{
		RequestId: v.requestID(), Supplier: v.form("supplier"),
		Lines: []*inventoryv1.OrderLine{{Part: v.form("part"), Quantity: quantity}},
	})
	if err != nil {
		return err
	}
	return v.done("/shelf", "ordered", r.GetReceipt())
}

// receiveOrder takes goods in as they were counted, line by line.
func (d *Desk) receiveOrder(v *visit) error {
	request := &inventoryv1.ReceiveGoodsRequest{RequestId: v.requestID(), Order: "orders/" + v.r.PathValue("order"), Note: v.form("note")}
	for name := range v.r.PostForm {
		part, isLine := strings.CutPrefix(name, "part:")
		if !isLine || v.form(name) == "" || v.form(name) == "0" {
			continue
		}
		quantity, err := v.whole(name)
		if err != nil {
			return err
		}
		request.Lines = append(request.Lines, &inventoryv1.ReceivedLine{Part: part, Quantity: quantity})
	}
	if len(request.GetLines()) == 0 {
		return badField("quantity", "must be given for at least one line")
	}
	r, err := d.Services.Inventory.ReceiveGoods(v.ctx, request)
	if err != nil {
		return err
	}
	return v.done("/shelf", "received", r.GetReceipt())
}

// issueParts hands out everything that lies ready for a job.
func (d *Desk) issueParts(v *visit) error {
	lines := v.r.PostForm["line"]
	if len(lines) == 0 {
		return badField("line", "must be ticked for what is handed out")
	}
	r, err := d.Services.Inventory.IssueParts(v.ctx, &inventoryv1.IssuePartsRequest{RequestId: v.requestID(), Job: v.job(), Lines: lines})
	if err != nil {
		return err
	}
	return v.done("/shelf", "issued", r.GetReceipt())
}
