package inventory

import (
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

func bookedAt(job int, bay string, start time.Time) *schedulingv1.Booking {
	return &schedulingv1.Booking{Job: jobName(job), Bay: bay, When: &commonv1.Interval{Start: timestamppb.New(start)}}
}

func (s *site) tonight() *inventoryv1.GetMorningResponse {
	return s.st.morning(s.now, s.now.Add(oneDay))
}

func TestMorningTellsWhomADeliveryFrees(t *testing.T) {
	s := newSite(t)
	s.list("SEAL", "BOLT")
	s.hears(confirmed(1, 0, line("a", "SEAL", 2)))
	s.hears(confirmed(2, 0, line("a", "SEAL", 2), line("b", "BOLT", 1)))
	s.hears(confirmed(3, 0, line("a", "SEAL", 5)))
	s.orderSeals(3, monday.Add(2*time.Hour))
	s.orderSeals(2, monday.Add(4*time.Hour))
	s.orderSeals(9, monday.Add(48*time.Hour))
	due := s.tonight().GetDeliveries()
	if len(due) != 2 {
		t.Fatalf("%v are due", due)
	}
	for i, want := range []struct{ serves, frees string }{
		{"jobs/1 jobs/2", "jobs/1"}, // the second still lacks its bolt
		{"jobs/2 jobs/3", ""},
	} {
		if got := strings.Join(due[i].GetServesJobs(), " "); got != want.serves {
			t.Errorf("%s serves %s, want %s", due[i].GetOrder(), got, want.serves)
		}
		if got := strings.Join(due[i].GetFreesJobs(), " "); got != want.frees {
			t.Errorf("%s frees %q, want %q", due[i].GetOrder(), got, want.frees)
		}
	}
	// With the bolt on its way too, the second job is freed by what brings its last seal.
	must(s, placeOrder, &inventoryv1.PlaceOrderRequest{Supplier: "west", Lines: []*inventoryv1.OrderLine{
		{Part: "BOLT", Quantity: 1, Expected: timestamppb.New(monday.Add(time.Hour))},
	}})
	due = s.tonight().GetDeliveries()
	if !slices.Equal(due[0].GetFreesJobs(), []string{"jobs/2"}) || !slices.Equal(due[2].GetFreesJobs(), []string{"jobs/2"}) {
		t.Errorf("%v", due)
	}
	s.passes(3 * time.Hour)
	if due := s.tonight().GetDeliveries(); !due[0].GetOverdue() || due[2].GetOverdue() {
		t.Errorf("overdue: %v", due)
	}
	// What was said on paper is what the shelf does.
	must(s, receiveGoods, &inventoryv1.ReceiveGoodsRequest{Order: "orders/1", Lines: []*inventoryv1.ReceivedLine{{Part: "SEAL", Quantity: 3}}})
	wantState(t, s, 1, stateHeld)
	wantLine(t, s, 2, "a", lineShort, 1)
}

func TestMorningPicksForTheDaysBays(t *testing.T) {
	s := newSite(t)
	s.list("SEAL", "BOLT")
	other := aPart("PLUG")
	other.Bin = "A0"
	must(s, setPart, &inventoryv1.SetPartRequest{Part: other})
	s.receive("SEAL", 3)
	s.receive("PLUG", 3)
	for job := range 3 {
		s.hears(confirmed(job+1, 0, line("a", "SEAL", 1), line("b", "PLUG", 1), line("c", "BOLT", 1)))
	}
	s.hears(&schedulingv1.BookingMade{Booking: bookedAt(1, "bays/1", monday.Add(6*time.Hour))})
	s.hears(&schedulingv1.BookingMade{Booking: bookedAt(2, "bays/2", monday.Add(2*time.Hour))})
	s.hears(&schedulingv1.BookingMade{Booking: bookedAt(3, "bays/2", monday.Add(72*time.Hour))})
	if again := s.hears(&schedulingv1.BookingMade{Booking: bookedAt(3, "bays/2", monday.Add(72*time.Hour))}); len(again) > 0 {
		t.Errorf("the same booking brings about %v", kinds(again))
	}
	picks := s.tonight().GetPicks()
	if len(picks) != 2 || picks[0].GetJob() != "jobs/2" || picks[0].GetBay() != "bays/2" || picks[1].GetJob() != "jobs/1" {
		t.Fatalf("picks: %v", picks)
	}
	if l := picks[0].GetLines(); len(l) != 2 || l[0].GetPart() != "PLUG" || l[1].GetPart() != "SEAL" || picks[0].GetMissing()[0].GetPart() != "BOLT" {
		t.Errorf("the kit is %v, and %v is missing", l, picks[0].GetMissing())
	}
	must(s, issueParts, &inventoryv1.IssuePartsRequest{Job: "jobs/2"})
	s.hears(&schedulingv1.BookingCancelled{Booking: bookedAt(1, "", time.Time{})})
	if picks := s.tonight().GetPicks(); len(picks) != 1 || len(picks[0].GetLines()) != 0 || len(picks[0].GetMissing()) != 1 {
		t.Errorf("after the fetch: %v", picks)
	}
	// A cancelled job's kit goes back; an invoiced one's is in the car.
	must(s, issueParts, &inventoryv1.IssuePartsRequest{Job: "jobs/1"})
	s.hears(&jobv1.JobCancelled{Job: "jobs/2"})
	s.hears(&jobv1.InvoiceClosed{Job: "jobs/1"})
	back := s.tonight().GetPutBack()
	if len(back) != 2 || back[0].GetJob() != "jobs/2" || back[0].GetPart() != "SEAL" || back[1].GetQuantity() != 1 {
		t.Errorf("put back %v", back)
	}
}

func TestMorningOrdersAndIdleStock(t *testing.T) {
	s := newSite(t)
	s.list("SEAL", "BOLT", "GHOST")
	plug := aPart("PLUG")
	plug.Supplier = "west"
	must(s, setPart, &inventoryv1.SetPartRequest{Part: plug})
	s.receive("GHOST", 7)
	s.passes(30 * week)
	s.hears(confirmed(1, 0, line("a", "SEAL", 2), line("b", "BOLT", 1), line("c", "PLUG", 4)))
	questions := s.st.questions(s.now)
	proposals, err := proposeOrders(questions, s.now)
	check(t, err)
	orders := bySupplier(proposals)
	if len(orders) != 2 || orders[0].GetSupplier() != "northgate" || len(orders[0].GetLines()) != 2 || orders[0].GetCost().GetMinorUnits() != 750 ||
		orders[1].GetCost().GetMinorUnits() != 1000 {
		t.Errorf("orders: %v", orders)
	}
	lying, err := idle(questions)
	check(t, err)
	if len(lying) != 1 || lying[0].GetPart() != "GHOST" || lying[0].GetQuantity() != 7 || lying[0].GetValue().GetMinorUnits() != 1750 ||
		lying[0].GetReason() != "none was taken in 30 weeks, 7 lie free" {
		t.Errorf("idle: %v", lying)
	}
}

func TestSumsThatCannotBe(t *testing.T) {
	euro := &inventoryv1.Proposal{Cost: &commonv1.Money{MinorUnits: 5, CurrencyCode: "EUR"}}
	for _, other := range []*commonv1.Money{{MinorUnits: 5, CurrencyCode: "USD"}, {MinorUnits: 1<<63 - 1, CurrencyCode: "EUR"}} {
		if sum := sumOf([]*inventoryv1.Proposal{euro, {Cost: other}}); sum != nil {
			t.Errorf("the sum with %v is %v", other, sum)
		}
	}
	if sum := sumOf([]*inventoryv1.Proposal{euro, {}, euro}); sum.GetMinorUnits() != 10 || euro.GetCost().GetMinorUnits() != 5 {
		t.Errorf("the sum is %v", sum)
	}
}

func TestEveryFigureIsExplained(t *testing.T) {
	s := newSite(t)
	s.list("SEAL")
	s.receive("SEAL", 10)
	s.hears(confirmed(1, 3, line("a", "SEAL", 4)))
	must(s, issueParts, &inventoryv1.IssuePartsRequest{Job: jobName(1)})
	must(s, countShelf, &inventoryv1.CountShelfRequest{Part: "SEAL", Counted: 5, Cause: mislaid})
	s.hears(confirmed(2, 0, line("a", "SEAL", 3)))
	s.hears(confirmed(3, 0, line("a", "SEAL", 9)))
	s.orderSeals(4, monday.AddDate(0, 0, 1))
	for range 2 { // the second time from a snapshot
		r, err := s.st.explain("SEAL")
		check(t, err)
		want := []string{
			"5 on hand: +10 received, -4 issued, -1 counted",
			"5 held: 3 for jobs/2, 2 for jobs/3",
			"7 wanted: 7 for jobs/3 (nobody has ordered them)",
			"4 on order: 4 with orders/1 from northgate on 2031-03-04",
			"12.50 EUR worth, on average 2.500000 EUR: 25.00 received, -10.00 issued, -2.50 counted",
			"last difference: -1 on 2031-03-03, found by kim: mislaid",
		}
		if !slices.Equal(r.GetWhy(), want) {
			t.Errorf("told %q", r.GetWhy())
		}
		sum := int64(0)
		for _, m := range r.GetMovements() {
			sum += m.GetQuantity()
		}
		if sum != r.GetPart().GetOnHand() {
			t.Errorf("the movements sum to %d of %d", sum, r.GetPart().GetOnHand())
		}
		kept, err := snapshot(s.st)()
		check(t, err)
		s.st, err = restore("demo", kept)
		check(t, err)
	}
	_, err := s.st.explain("GHOST")
	wantReason(t, err, "PART_NOT_FOUND")
}
