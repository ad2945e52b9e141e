package inventory

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/fault"
	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

func day(n int) time.Time { return monday.AddDate(0, 0, n) }

func confirm(s *site, order string, lines ...*inventoryv1.OrderLine) error {
	_, err := do(s, confirmOrder, &inventoryv1.ConfirmOrderRequest{Order: order, SupplierReference: "R7", Lines: lines})
	return err
}

func orderLine(part string, quantity int64, expected time.Time) *inventoryv1.OrderLine {
	return &inventoryv1.OrderLine{Part: part, Quantity: quantity, Expected: timestamppb.New(expected)}
}

func wantEta(t *testing.T, s *site, job int, ordered bool, at time.Time) {
	t.Helper()
	doc := s.doc(job)
	if doc.GetEtaOrdered() != ordered || !doc.GetEta().AsTime().Equal(at) {
		t.Errorf("%s is expected at %v (ordered %v), want %v (%v)", doc.GetJob(), doc.GetEta().AsTime(), doc.GetEtaOrdered(), at, ordered)
	}
}

func TestEveryPieceOnOrderIsPromisedOnce(t *testing.T) {
	s := newSite(t)
	s.list("SEAL")
	s.orderSeals(3, day(2))
	s.orderSeals(3, day(9))
	s.hears(confirmed(1, 0, line("a", "SEAL", 2)))
	s.hears(confirmed(2, 0, line("a", "SEAL", 2)))
	s.hears(confirmed(3, 0, line("a", "SEAL", 3)))

	wantEta(t, s, 1, true, day(2))
	wantEta(t, s, 2, true, day(9))  // one of the first delivery, one of the second
	wantEta(t, s, 3, false, day(5)) // two are left, so it takes another order

	// Somebody more urgent comes first, and the others hear of it in the same commit.
	events := s.hears(confirmed(4, 5, line("a", "SEAL", 3)))
	if got := kinds(events); !slices.Equal(got, []string{"PartsShort", "PartsShort", "PartsShort"}) {
		t.Errorf("events are %v", got)
	}
	wantEta(t, s, 4, true, day(2))
	wantEta(t, s, 1, true, day(9))
	wantEta(t, s, 2, false, day(5))
}

func TestConfirmationMovesWhoWaits(t *testing.T) {
	s := newSite(t)
	s.list("SEAL", "BOLT")
	order := must(s, placeOrder, &inventoryv1.PlaceOrderRequest{Supplier: "northgate", Lines: []*inventoryv1.OrderLine{
		{Part: "SEAL", Quantity: 4}, {Part: "BOLT", Quantity: 10},
	}}).GetOrder()
	if got := order.GetLines()[0].GetExpected().AsTime(); !got.Equal(day(5)) {
		t.Errorf("a line without a date is expected at %v, want after the lead time", got)
	}
	s.hears(confirmed(1, 0, line("a", "SEAL", 4)))
	wantEta(t, s, 1, true, day(5))

	// Half of them on Thursday, half a week later: the job waits for the second half.
	if err := confirm(s, order.GetName(), orderLine("SEAL", 2, day(3)), orderLine("SEAL", 2, day(10))); err != nil {
		t.Fatal(err)
	}
	wantEta(t, s, 1, true, day(10))
	if got := s.st.parts["BOLT"].onOrder; got != 10 {
		t.Errorf("%d bolts are on order, want the 10 that were not named", got)
	}
	// The supplier has only three after all.
	if err := confirm(s, order.GetName(), orderLine("SEAL", 3, day(3))); err != nil {
		t.Fatal(err)
	}
	wantEta(t, s, 1, false, day(5))

	wantReason(t, confirm(s, order.GetName(), orderLine("HOSE", 1, day(3))), "CONFIRMATION_INVALID")
	wantReason(t, confirm(s, "orders/9", orderLine("SEAL", 1, day(3))), "ORDER_NOT_FOUND")
}

func TestGoodsIn(t *testing.T) {
	s := newSite(t)
	s.list("SEAL", "BOLT", "HOSE")
	order := s.orderSeals(10, day(2))
	come := func(order, part string, quantity, damaged int64) error {
		_, err := do(s, receiveGoods, &inventoryv1.ReceiveGoodsRequest{
			Order: order, Lines: []*inventoryv1.ReceivedLine{{Part: part, Quantity: quantity, Damaged: damaged}},
		})
		return err
	}
	want := func(state inventoryv1.OrderState, onHand, onOrder int64) {
		t.Helper()
		p := s.st.parts["SEAL"]
		if o := s.st.orders[order]; o.GetState() != state || p.onHand != onHand || p.onOrder != onOrder {
			t.Errorf("%v, %d on hand, %d on order; want %v, %d, %d", o.GetState(), p.onHand, p.onOrder, state, onHand, onOrder)
		}
	}

	wantReason(t, come(order, "BOLT", 1, 0), "PART_NOT_ON_ORDER")
	wantReason(t, come(order, "NONE", 1, 0), "PART_NOT_FOUND")
	wantReason(t, come("orders/7", "SEAL", 1, 0), "ORDER_NOT_FOUND")
	wantReason(t, come(order, "SEAL", 1, 2), "RECEIPT_INVALID")

	// Short: six of ten, two of them broken. The broken ones count as delivered.
	if err := come(order, "SEAL", 6, 2); err != nil {
		t.Fatal(err)
	}
	want(inventoryv1.OrderState_ORDER_STATE_PART_RECEIVED, 4, 4)
	wantReason(t, confirm(s, order, orderLine("SEAL", 5, day(9))), "CONFIRMATION_INVALID")
	// Over: two more than were still to come.
	if err := come(order, "SEAL", 6, 0); err != nil {
		t.Fatal(err)
	}
	want(inventoryv1.OrderState_ORDER_STATE_RECEIVED, 10, 0)
	wantReason(t, come(order, "SEAL", 1, 0), "ORDER_CLOSED")
	// Without an order.
	if err := come("", "SEAL", 1, 0); err != nil {
		t.Fatal(err)
	}
	want(inventoryv1.OrderState_ORDER_STATE_RECEIVED, 11, 0)
}

func TestDamagedDeliveryLeavesTheJobWaiting(t *testing.T) {
	s := newSite(t)
	s.list("SEAL")
	order := s.orderSeals(1, day(2))
	s.hears(confirmed(1, 0, line("a", "SEAL", 1)))
	wantEta(t, s, 1, true, day(2))
	s.passes(2 * 24 * time.Hour)
	must(s, receiveGoods, &inventoryv1.ReceiveGoodsRequest{
		Order: order, Lines: []*inventoryv1.ReceivedLine{{Part: "SEAL", Quantity: 1, Damaged: 1}},
	})
	wantEta(t, s, 1, false, day(7))
	buys, err := proposeOrders(s.st.questions(s.now), s.now)
	if err != nil || len(buys) != 1 || !slices.Equal(buys[0].GetJobs(), []string{"jobs/1"}) {
		t.Errorf("proposed %v (%v), want a seal for jobs/1", buys, err)
	}
}

func TestOverdueDeliveryIsExpectedTomorrow(t *testing.T) {
	s := newSite(t)
	s.list("SEAL")
	s.orderSeals(1, day(2))
	s.passes(3 * 24 * time.Hour)
	s.hears(confirmed(1, 0, line("a", "SEAL", 1)))
	wantEta(t, s, 1, true, day(4))
	// It has not come by then, either: who plans with that day is told so.
	s.passes(24 * time.Hour)
	wantEta(t, s, 1, true, day(5))
	if got := kinds(s.history[len(s.history)-1:]); !slices.Equal(got, []string{"PartsShort"}) {
		t.Errorf("the last event is %v", got)
	}
}

func TestWhatNobodyOrdersSlides(t *testing.T) {
	s := newSite(t)
	s.list("SEAL")
	s.hears(confirmed(1, 0, line("a", "SEAL", 1)))
	wantEta(t, s, 1, false, day(5))
	s.passes(6 * 24 * time.Hour)
	wantEta(t, s, 1, false, day(10))
}

func TestManyLateHoldsAreToldInSmallCommits(t *testing.T) {
	s := newSite(t)
	s.list("SEAL")
	const jobs = 3*holdsAtOnce + 1
	s.orderSeals(jobs, day(2))
	for job := 1; job <= jobs; job++ {
		s.hears(confirmed(job, 0, line("a", "SEAL", 1)))
	}
	s.passes(2*24*time.Hour + time.Minute)
	for job := 1; job <= jobs; job++ {
		if !s.doc(job).GetEta().AsTime().After(s.now) {
			t.Fatalf("%s is expected at %v, in the past", jobName(job), s.doc(job).GetEta().AsTime())
		}
	}
}

func TestConfirmationWithoutADateKeepsTheLastDay(t *testing.T) {
	s := newSite(t)
	s.list("SEAL")
	order := s.orderSeals(2, day(4))
	if err := confirm(s, order, &inventoryv1.OrderLine{Part: "SEAL", Quantity: 3}); err != nil {
		t.Fatal(err)
	}
	l := s.st.orders[order].GetLines()[0]
	if l.GetQuantity() != 3 || !l.GetExpected().AsTime().Equal(day(4)) {
		t.Errorf("the line is %v", l)
	}
}

func TestCancelledOrder(t *testing.T) {
	s := newSite(t)
	s.list("SEAL")
	order := s.orderSeals(3, day(2))
	s.hears(confirmed(1, 0, line("a", "SEAL", 2)))
	must(s, receiveGoods, &inventoryv1.ReceiveGoodsRequest{Order: order, Lines: []*inventoryv1.ReceivedLine{{Part: "SEAL", Quantity: 1}}})

	must(s, cancelOrder, &inventoryv1.CancelOrderRequest{Order: order, Reason: "too late"})

	wantLine(t, s, 1, "a", lineShort, 1)
	wantEta(t, s, 1, false, day(5))
	_, err := do(s, cancelOrder, &inventoryv1.CancelOrderRequest{Order: order, Reason: "again"})
	wantReason(t, err, "ORDER_CLOSED")
}

func TestOrdersComeInPacks(t *testing.T) {
	s := newSite(t)
	p := aPart("BOLT")
	p.Pack = 10
	must(s, setPart, &inventoryv1.SetPartRequest{Part: p})
	_, err := do(s, placeOrder, &inventoryv1.PlaceOrderRequest{Supplier: "northgate", Lines: []*inventoryv1.OrderLine{{Part: "BOLT", Quantity: 12}}})
	wantReason(t, err, "ORDER_INVALID")
	e, is := errors.AsType[*fault.Error](err)
	if !is || len(e.Fields) != 1 || !strings.Contains(e.Fields[0].Description, "order 20") {
		t.Errorf("it does not say what to order: %+v", e)
	}
	_, err = do(s, placeOrder, &inventoryv1.PlaceOrderRequest{Supplier: "northgate", Lines: []*inventoryv1.OrderLine{{Part: "NONE", Quantity: 1}}})
	wantReason(t, err, "PART_NOT_FOUND")
}

func TestProposalsPutWaitingJobsFirst(t *testing.T) {
	s := newSite(t)
	stock := aPart("FILTER")
	stock.ReorderPoint, stock.OrderUpTo, stock.Pack = 2, 10, 6
	must(s, setPart, &inventoryv1.SetPartRequest{Part: stock})
	s.list("SEAL", "BOLT")
	s.receive("BOLT", 1)
	s.hears(confirmed(1, 0, line("a", "SEAL", 2), line("b", "BOLT", 1)))
	s.hears(confirmed(2, 5, line("a", "SEAL", 1)))

	buys, err := proposeOrders(s.st.questions(s.now), s.now)
	if err != nil {
		t.Fatal(err)
	}
	if len(buys) != 2 {
		t.Fatalf("proposed %v", buys)
	}
	seal, filter := buys[0], buys[1]
	if seal.GetPart() != "SEAL" || seal.GetQuantity() != 3 || !slices.Equal(seal.GetJobs(), []string{"jobs/2", "jobs/1"}) ||
		seal.GetCost().GetMinorUnits() != 750 || !seal.GetExpectedIfOrderedNow().AsTime().Equal(day(5)) {
		t.Errorf("for the jobs: %v", seal)
	}
	if filter.GetPart() != "FILTER" || filter.GetQuantity() != 12 || !strings.Contains(filter.GetReason(), "reorder point of 2") {
		t.Errorf("for the shelf: %v", filter)
	}
}

func TestProposalFromHistory(t *testing.T) {
	s := newSite(t)
	s.list("FILTER")
	s.receive("FILTER", 30)
	for job := 1; job <= 26; job++ { // one a week, with a break every third week
		if job%3 > 0 {
			s.hears(confirmed(job, 0, line("a", "FILTER", 1)))
			must(s, issueParts, &inventoryv1.IssuePartsRequest{Job: jobName(job)})
		}
		s.passes(week)
	}
	if buys, err := proposeOrders(s.st.questions(s.now), s.now); err != nil || len(buys) != 0 {
		t.Fatalf("with %d on hand: %v (%v)", s.st.parts["FILTER"].onHand, buys, err)
	}
	must(s, scrapPart, &inventoryv1.ScrapPartRequest{Part: "FILTER", Quantity: s.st.parts["FILTER"].onHand, Reason: "flood"})
	buys, err := proposeOrders(s.st.questions(s.now), s.now)
	if err != nil || len(buys) != 1 || !strings.Contains(buys[0].GetReason(), "from the shelf") {
		t.Fatalf("with an empty shelf: %v (%v)", buys, err)
	}
}

func TestCostOfAProposal(t *testing.T) {
	for _, row := range []struct{ cost, per, quantity, want int64 }{
		{250, 0, 3, 750},
		{900, 1000, 1500, 1350}, // oil by the millilitre, priced by the litre
		{1, 1000, 1, 1},         // rounded up
		{maxMoney, 1, maxQuantity, maxMoney * maxQuantity},
		{math.MaxInt64, 1, 2, math.MaxInt64}, // not representable
		{math.MaxInt64, 2, 2, math.MaxInt64},
	} {
		about := &inventoryv1.Part{PriceQuantity: row.per, Cost: &commonv1.Money{MinorUnits: row.cost, CurrencyCode: "EUR"}}
		if got := costOf(about, row.quantity).GetMinorUnits(); got != row.want {
			t.Errorf("%d at %d for %d cost %d, want %d", row.quantity, row.cost, row.per, got, row.want)
		}
	}
	if got := costOf(&inventoryv1.Part{}, 1); got != nil {
		t.Errorf("an unknown cost became %v", got)
	}
}

func TestCatalogue(t *testing.T) {
	s := newSite(t)
	catalogue := &cataloguev1.Catalogue{CurrencyCode: "EUR", Parts: []*cataloguev1.Part{
		{Number: "SEAL", Title: "Seal", Unit: commonv1.Unit_UNIT_PIECE, PriceMinorUnits: 500, Supplier: "northgate", LeadTimeDays: 3, Bin: "C2"},
		{Number: "OIL", Title: "Oil", Unit: commonv1.Unit_UNIT_MILLILITRE, PriceMinorUnits: 1200, PriceQuantity: 1000},
	}}
	imported := &jobv1.CatalogueImported{Catalogue: catalogue, Version: "demo@1"}
	if got := len(s.hears(imported)); got != 2 {
		t.Errorf("%d parts were listed, want 2", got)
	}
	if got := len(s.hears(imported)); got != 0 {
		t.Errorf("the same edition again listed %d parts", got)
	}
	s.receive("SEAL", 4)
	mine := s.st.parts["SEAL"].shown()
	mine.Bin, mine.ReorderPoint = "Z9", 2
	must(s, setPart, &inventoryv1.SetPartRequest{Part: mine})

	catalogue.Parts[0].PriceMinorUnits, catalogue.Parts[0].Bin = 600, "C3"
	catalogue.Parts[1].Unit = commonv1.Unit_UNIT_PIECE
	if got := len(s.hears(imported)); got != 1 {
		t.Errorf("%d parts changed, want 1: another unit is left alone", got)
	}
	p := s.st.parts["SEAL"].shown()
	if p.GetPrice().GetMinorUnits() != 600 || p.GetBin() != "Z9" || p.GetReorderPoint() != 2 || p.GetOnHand() != 4 {
		t.Errorf("after the new edition: %v", p)
	}
}

func TestSetPartRefusals(t *testing.T) {
	s := newSite(t)
	s.list("SEAL")
	s.receive("SEAL", 1)
	set := func(change func(*inventoryv1.Part)) error {
		p := aPart("SEAL")
		change(p)
		_, err := do(s, setPart, &inventoryv1.SetPartRequest{Part: p})
		return err
	}
	wantReason(t, set(func(p *inventoryv1.Part) { p.Unit = commonv1.Unit_UNIT_GRAM }), "UNIT_IN_USE")
	wantReason(t, set(func(p *inventoryv1.Part) { p.Cost.MinorUnits = -1 }), "PART_INVALID")
	wantReason(t, set(func(p *inventoryv1.Part) { p.Cost.MinorUnits = maxMoney + 1 }), "PART_INVALID")
	wantReason(t, set(func(p *inventoryv1.Part) { p.Pack = maxQuantity + 1 }), "PART_INVALID")
	wantReason(t, set(func(p *inventoryv1.Part) { p.ReorderPoint, p.OrderUpTo = 5, 4 }), "PART_INVALID")
	// Stock figures in a request are not believed.
	if err := set(func(p *inventoryv1.Part) { p.OnHand, p.Bin = 99, "B2" }); err != nil {
		t.Fatal(err)
	}
	if p := s.st.parts["SEAL"].shown(); p.GetOnHand() != 1 || p.GetBin() != "B2" {
		t.Errorf("the part is %v", p)
	}
}
