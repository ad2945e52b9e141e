package inventory

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"
	"pgregory.net/rapid"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/readmodel/readmodeltest"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

func euros(minorUnits int64) *commonv1.Money {
	return &commonv1.Money{MinorUnits: minorUnits, CurrencyCode: "EUR"}
}

func (s *site) buys(number string, quantity, cost int64) {
	s.t.Helper()
	must(s, receiveGoods, &inventoryv1.ReceiveGoodsRequest{Lines: []*inventoryv1.ReceivedLine{{Part: number, Quantity: quantity, Cost: euros(cost)}}})
}

func (s *site) counts(number string, counted int64) {
	s.t.Helper()
	for _, person := range []string{"tom", "kim"} { // a large difference takes both
		s.person = person
		must(s, countShelf, &inventoryv1.CountShelfRequest{Part: number, Counted: counted, Cause: mislaid})
	}
}

// valueAt asks as the server does, but for the waiting in between.
func (s *site) valueAt(at time.Time) *valuation {
	s.t.Helper()
	v := s.st.valuation(at)
	for !v.done {
		page, err := v.page(s.st)
		if back := readmodeltest.Recall(s.t, s.events, err); back != nil {
			s.commit(back)
			continue
		}
		v.takeBack(page)
	}
	return v
}

func wantWorth(t *testing.T, s *site, number string, quantity, value int64) {
	t.Helper()
	p := s.st.parts[number].shown()
	if p.GetOnHand() != quantity || p.GetValue().GetMinorUnits() != value {
		t.Errorf("%d of %s are worth %v, want %d worth %d", p.GetOnHand(), number, p.GetValue(), quantity, value)
	}
}

// The perpetual example of homeworksource.com, question 1123599: after the second
// purchase the average is 9.50, and 220 remain for 2,090. Every day can be asked
// for afterwards, also after its movements have left for the archive.
func TestMovingAverageOfAPublishedExample(t *testing.T) {
	s := newSite(t)
	s.list("WCS12")
	var days []time.Time
	for _, step := range []struct{ buys, cost, leaves int64 }{{300, 800, 300}, {0, 0, 125}, {375, 1000, 500}, {0, 0, 220}} {
		if step.buys > 0 {
			s.buys("WCS12", step.buys, step.buys*step.cost)
		} else {
			s.counts("WCS12", step.leaves)
		}
		days = append(days, s.now)
		s.passes(10 * 24 * time.Hour)
	}
	wantWorth(t, s, "WCS12", 220, 209_000)
	for i, want := range []*inventoryv1.StockValue{
		{Quantity: 300, Value: euros(240_000), Average: "8.000000 EUR"},
		{Quantity: 125, Value: euros(100_000), Average: "8.000000 EUR"},
		{Quantity: 500, Value: euros(475_000), Average: "9.500000 EUR"},
		{Quantity: 220, Value: euros(209_000), Average: "9.500000 EUR"},
	} {
		want.Part, want.Title, want.Unit = "WCS12", "Part WCS12", commonv1.Unit_UNIT_PIECE
		r := s.valueAt(days[i]).report()
		if len(r.GetParts()) != 1 || !proto.Equal(r.GetParts()[0], want) || !proto.Equal(r.GetTotals()[0], want.GetValue()) {
			t.Errorf("on %v: %v, want %v", days[i], r, want)
		}
	}
	if r := s.valueAt(days[0].Add(-time.Hour)).report(); len(r.GetParts()) != 0 || len(r.GetTotals()) != 0 {
		t.Errorf("before anything moved: %v", r)
	}
}

// Returns and counts come in at the average, an empty shelf keeps its last one,
// and scrapped pieces take it along.
func TestReturnsAndCountsLeaveTheAverage(t *testing.T) {
	s := newSite(t)
	s.list("SEAL")
	s.buys("SEAL", 2, 300)
	s.buys("SEAL", 1, 200) // 500 for three
	s.hears(confirmed(1, 0, line("a", "SEAL", 2)))
	must(s, issueParts, &inventoryv1.IssuePartsRequest{Job: jobName(1)})
	wantWorth(t, s, "SEAL", 1, 167)
	s.counts("SEAL", 0)
	wantWorth(t, s, "SEAL", 0, 0)
	must(s, returnParts, &inventoryv1.ReturnPartsRequest{Job: jobName(1), Lines: []string{"a"}})
	wantWorth(t, s, "SEAL", 2, 334)
	s.counts("SEAL", 4)
	wantWorth(t, s, "SEAL", 4, 668)
	must(s, scrapPart, &inventoryv1.ScrapPartRequest{Part: "SEAL", Quantity: 1, Reason: "bent"})
	wantWorth(t, s, "SEAL", 3, 501)
	r, err := s.st.explain("SEAL")
	if err != nil {
		t.Fatal(err)
	}
	if got, want := r.GetWhy()[4], "5.01 EUR worth, on average 1.670000 EUR: 5.00 received, -3.33 issued, 3.34 returned, 1.67 counted, -1.67 scrapped"; got != want {
		t.Errorf("explained as %q, want %q", got, want)
	}
}

// Goods cost what was paid, else what the order says, else what the part does.
func TestWhatGoodsCost(t *testing.T) {
	s := newSite(t)
	s.list("SEAL")
	s.receive("SEAL", 2)
	wantWorth(t, s, "SEAL", 2, 500)
	l := orderLine("SEAL", 3, day(1))
	l.Cost = euros(1000)
	o := must(s, placeOrder, &inventoryv1.PlaceOrderRequest{Supplier: "northgate", Lines: []*inventoryv1.OrderLine{l}}).GetOrder().GetName()
	for _, want := range []int64{833, 1167, 1500} { // 333, 334 and 333: the line's cost exactly
		must(s, receiveGoods, &inventoryv1.ReceiveGoodsRequest{Order: o, Lines: []*inventoryv1.ReceivedLine{{Part: "SEAL", Quantity: 1}}})
		if got := s.st.parts["SEAL"].worth.Value; got != want {
			t.Errorf("worth %d, want %d", got, want)
		}
	}
	s.buys("SEAL", 5, 1)
	wantWorth(t, s, "SEAL", 10, 1501)
	refuse := func(reason string, cost *commonv1.Money) {
		t.Helper()
		_, err := do(s, receiveGoods, &inventoryv1.ReceiveGoodsRequest{Lines: []*inventoryv1.ReceivedLine{{Part: "SEAL", Quantity: 1, Cost: cost}}})
		wantReason(t, err, reason)
	}
	refuse("COST_IN_OTHER_CURRENCY", &commonv1.Money{MinorUnits: 1, CurrencyCode: "USD"})
	refuse("COST_INVALID", euros(-1))
	refuse("COST_INVALID", &commonv1.Money{MinorUnits: 1})
	s.counts("SEAL", 0)
	must(s, receiveGoods, &inventoryv1.ReceiveGoodsRequest{Lines: []*inventoryv1.ReceivedLine{{
		Part: "SEAL", Quantity: 1, Cost: &commonv1.Money{MinorUnits: 7, CurrencyCode: "USD"},
	}}})
	if v := s.st.parts["SEAL"].shown().GetValue(); v.GetCurrencyCode() != "USD" || v.GetMinorUnits() != 7 {
		t.Errorf("an empty shelf takes another currency, and it is worth %v", v)
	}
	free := aPart("FREE")
	free.Cost = nil
	must(s, setPart, &inventoryv1.SetPartRequest{Part: free})
	s.receive("FREE", 3)
	if r := s.valueAt(s.now).report(); r.GetPartsThere() != 2 || r.GetPartsWithoutCost() != 1 || !strings.Contains(r.GetWhy()[1], "1 of them") {
		t.Errorf("a part without a cost: %v", r)
	}
}

// A bill that differs falls upon what is still there by its share.
func TestABillThatDiffers(t *testing.T) {
	s := newSite(t)
	s.list("SEAL")
	s.buys("SEAL", 10, 1000)
	s.counts("SEAL", 4)
	correct := func(quantity, difference int64) (*inventoryv1.CorrectCostResponse, error) {
		return do(s, correctCost, &inventoryv1.CorrectCostRequest{Part: "SEAL", Quantity: quantity, Difference: euros(difference), Reason: "bill"})
	}
	r, err := correct(10, 55)
	if err != nil || r.GetOnShelf().GetMinorUnits() != 22 || r.GetGone().GetMinorUnits() != 33 {
		t.Errorf("%v, %v; want 22 on what is there and 33 for what is gone", r, err)
	}
	wantWorth(t, s, "SEAL", 4, 422)
	if r, err = correct(4, -22); err != nil || r.GetGone().GetMinorUnits() != 0 {
		t.Errorf("%v, %v", r, err)
	}
	wantWorth(t, s, "SEAL", 4, 400)
	_, err = correct(4, -401)
	wantReason(t, err, "VALUE_BELOW_NOTHING")
	_, err = correct(4, 0)
	wantReason(t, err, "DIFFERENCE_INVALID")
	s.counts("SEAL", 0)
	if r, err = correct(4, 9); err != nil || r.GetOnShelf().GetMinorUnits() != 0 || r.GetGone().GetMinorUnits() != 9 {
		t.Errorf("nothing is there, and yet %v, %v", r, err)
	}
	s.audit()
}

// A log from before values were kept gives them by the same rule.
func TestMovementsOfAnEarlierProgram(t *testing.T) {
	s := newSite(t)
	s.list("SEAL")
	at := timestamppb.New(monday)
	s.commit([]proto.Message{
		&inventoryv1.StockMoved{Movement: &inventoryv1.Movement{Number: 1, Part: "SEAL", Kind: inventoryv1.MovementKind_MOVEMENT_KIND_RECEIVED, Quantity: 4, OnHandAfter: 4, At: at}},
		&inventoryv1.StockMoved{Movement: &inventoryv1.Movement{Number: 2, Part: "SEAL", Kind: inventoryv1.MovementKind_MOVEMENT_KIND_ISSUED, Quantity: -1, OnHandAfter: 3, At: at}},
	})
	wantWorth(t, s, "SEAL", 3, 750)
	if m := s.st.movements[2]; m.GetValueMinorUnits() != -250 || m.GetValueAfterMinorUnits() != 750 {
		t.Errorf("the row of the second movement says %v", m)
	}
}

// A page that was archived before values were kept says nothing of them: a date
// among its movements is answered with what is not known, and one after it as ever.
func TestValueBeforeValuesWereKept(t *testing.T) {
	at := func(hour int) *timestamppb.Timestamp {
		return timestamppb.New(monday.Add(time.Duration(hour) * time.Hour))
	}
	newest := []*inventoryv1.Movement{
		{Part: "SEAL", Quantity: -1, ValueMinorUnits: -100, ValueAfterMinorUnits: 300, CurrencyCode: "EUR", At: at(3)},
		{Part: "SEAL", Quantity: 2, At: at(2)},
		{Part: "BOLT", Quantity: 1, ValueMinorUnits: 70, ValueAfterMinorUnits: 70, CurrencyCode: "EUR", At: at(1)},
		{Part: "SEAL", Quantity: 1, At: at(1)},
		{Part: "SEAL", Quantity: 1, ValueMinorUnits: 90, ValueAfterMinorUnits: 90, CurrencyCode: "EUR", At: at(0)},
	}
	for _, c := range []struct {
		hour            int
		quantity, seals int64
		total           int64
		unknown         int
	}{
		{hour: 3, quantity: 3, seals: 300, total: 370},
		{hour: 2, quantity: 4, seals: 400, total: 470}, // as the movement after it says
		{hour: 1, quantity: 2, total: 70, unknown: 1},
		{hour: 0, quantity: 1, unknown: 1}, // the movement at one o'clock says nothing of it
		{hour: -1},                         // nothing was there
	} {
		v := &valuation{at: at(c.hour).AsTime(), next: 5, parts: map[string]lying{
			"BOLT": {about: aPart("BOLT"), quantity: 1, value: 70, currency: "EUR"},
			"SEAL": {about: aPart("SEAL"), quantity: 3, value: 300, currency: "EUR"},
		}}
		v.takeBack(newest)
		r, total := v.report(), int64(0)
		for _, sum := range r.GetTotals() {
			total += sum.GetMinorUnits()
		}
		if l := v.parts["SEAL"]; l.quantity != c.quantity || l.value != c.seals || total != c.total || int(r.GetPartsWithoutCost()) != c.unknown {
			t.Errorf("at %d o'clock %+v of %v, want %+v", c.hour, l, r, c)
		}
		if said := slices.ContainsFunc(r.GetWhy(), func(why string) bool { return strings.Contains(why, "worth then is not known") }); said != (c.unknown > 0) {
			t.Errorf("at %d o'clock: %v", c.hour, r.GetWhy())
		}
	}
}

// The value at any past moment is what the documents until then say, also when
// their pages have left the state.
func TestValueAtAnyTime(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := newSite(t)
		s.list("AA", "BB")
		for range rapid.IntRange(1, 30).Draw(t, "bursts") {
			for range rapid.IntRange(1, 40).Draw(t, "moves") {
				number := rapid.SampledFrom([]string{"AA", "BB"}).Draw(t, "part")
				if rapid.Bool().Draw(t, "buys") {
					s.buys(number, rapid.Int64Range(1, 9).Draw(t, "quantity"), rapid.Int64Range(0, 999).Draw(t, "cost"))
				} else {
					s.counts(number, rapid.Int64Range(0, s.st.parts[number].onHand).Draw(t, "counted"))
				}
			}
			s.passes(time.Duration(rapid.IntRange(1, 40).Draw(t, "hours")) * time.Hour)
		}
		at := monday.Add(time.Duration(rapid.IntRange(0, 1300).Draw(t, "asked for")) * time.Hour)
		want := map[string]*inventoryv1.Movement{}
		for _, m := range s.history {
			if moved, is := m.(*inventoryv1.StockMoved); is && !moved.GetMovement().GetAt().AsTime().After(at) {
				want[moved.GetMovement().GetPart()] = moved.GetMovement()
			}
		}
		v := s.valueAt(at)
		for number, l := range v.parts {
			m := want[number]
			if l.quantity != m.GetOnHandAfter() || l.value != m.GetValueAfterMinorUnits() {
				t.Fatalf("%d of %s worth %d at %v; the last movement until then is %v", l.quantity, number, l.value, at, m)
			}
		}
	})
}

func TestAskingForTheValue(t *testing.T) {
	r := newRig(t)
	for i := range 5 {
		number := fmt.Sprintf("V-%d", i)
		r.set(aPart(number))
		if i > 0 {
			r.receives(number, int64(i))
		}
	}
	var numbers []string
	req := &inventoryv1.GetStockValueRequest{PageSize: 3}
	for {
		page, err := r.buying.GetStockValue(r.ctx, req)
		check(t, err)
		if page.GetPartsThere() != 4 || page.GetTotals()[0].GetMinorUnits() != 2500 {
			t.Errorf("the page says %v", page)
		}
		for _, v := range page.GetParts() {
			numbers = append(numbers, v.GetPart())
		}
		if req.PageToken = page.GetNextPageToken(); req.GetPageToken() == "" {
			break
		}
	}
	if want := []string{"V-1", "V-2", "V-3", "V-4"}; !slices.Equal(numbers, want) {
		t.Errorf("paged: %v, want %v", numbers, want)
	}
	one, err := r.buying.GetStockValue(r.ctx, &inventoryv1.GetStockValueRequest{Part: "V-2"})
	check(t, err)
	if v := one.GetParts()[0]; v.GetQuantity() != 2 || v.GetValue().GetMinorUnits() != 500 || !strings.HasSuffix(one.GetWhy()[0], "+2 received goods-in for 5.00, 2 there worth 5.00 EUR") {
		t.Errorf("one part: %v", one)
	}
	_, err = r.buying.GetStockValue(r.ctx, &inventoryv1.GetStockValueRequest{At: timestamppb.New(monday.Add(time.Hour))})
	wantReason(t, err, "TIME_AHEAD")
	_, err = r.buying.GetStockValue(r.ctx, &inventoryv1.GetStockValueRequest{Part: "NONE"})
	if fault.KindOf(err) != fault.NotFound {
		t.Errorf("an unknown part: %v", err)
	}
}

// auditWorth sums anew what lies there, and demands that nothing is worth nothing.
func (s *site) auditWorth() {
	s.t.Helper()
	value := map[string]int64{}
	for _, e := range s.history {
		moved, is := e.(*inventoryv1.StockMoved)
		if !is {
			continue
		}
		m := moved.GetMovement()
		value[m.GetPart()] += m.GetValueMinorUnits()
		if v := value[m.GetPart()]; v != m.GetValueAfterMinorUnits() || v < 0 || m.GetOnHandAfter() == 0 && v != 0 {
			s.t.Fatalf("the values so far come to %d, and the movement says %v", v, m)
		}
	}
	for number, p := range s.st.parts {
		if p.worth.Value != value[number] || p.worth.Quantity != p.onHand {
			s.t.Fatalf("%s is worth %d for %d, its movements say %d for %d", number, p.worth.Value, p.worth.Quantity, value[number], p.onHand)
		}
	}
}
