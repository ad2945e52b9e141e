package inventory

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"
	"pgregory.net/rapid"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/readmodel/readmodeltest"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

func window(from, to time.Time) *commonv1.Interval {
	return &commonv1.Interval{Start: timestamppb.New(from), End: timestamppb.New(to)}
}

// turned asks as the server does, but for the waiting in between.
func (s *site) turned(from, to time.Time, only string) *inventoryv1.GetStockTurnResponse {
	s.t.Helper()
	turn := s.st.turnover(from, to, only)
	for !turn.over() {
		page, err := turn.page(s.st)
		if back := readmodeltest.Recall(s.t, s.events, err); back != nil {
			s.commit(back)
			continue
		}
		turn.takeBack(page)
	}
	return turn.report()
}

func (s *site) uses(job int, number string, quantity int64) {
	s.t.Helper()
	s.hears(confirmed(job, 0, line("a", number, quantity)))
	must(s, issueParts, &inventoryv1.IssuePartsRequest{Job: jobName(job)})
}

// The two years of techwhiff.com, question 244130: turnover 7.6 and 9.5, and 48 and
// 39 days. Its mean is that of two balances; here each of them lies for half of the year.
func TestStockTurnOfAPublishedExample(t *testing.T) {
	for _, c := range []struct{ goods, more, less, mean, turns, days int64 }{
		{445_300, 61_704, 55_904, 58_804, 76, 48},
		{518_300, 61_704, 47_914, 54_809, 95, 39},
	} {
		s := newSite(t)
		s.list("BASE", "TOP", "FLOW")
		s.buys("BASE", 1, 100*c.less)
		s.buys("TOP", 1, 100*(c.more-c.less))
		s.buys("FLOW", 1, 100*(c.goods-c.more+c.less))
		s.uses(1, "FLOW", 1)
		s.passes(year / 2)
		s.uses(2, "TOP", 1)
		s.passes(year / 2)
		r := s.turned(monday, s.now, "")
		total := r.GetTotals()[0]
		if len(r.GetTotals()) != 1 || total.GetIssued().GetMinorUnits() != 100*c.goods || total.GetMean().GetMinorUnits() != 100*c.mean ||
			math.Round(10*total.GetTurns()) != float64(c.turns) || math.Round(total.GetDays()) != float64(c.days) {
			t.Errorf("%v, want %+v", r.GetTotals(), c)
		}
		if parts := r.GetParts(); len(parts) != 3 || parts[0].GetPart() != "BASE" || parts[0].GetTurns() != 0 || parts[1].GetTurns() != 2 || parts[2].GetMean().GetMinorUnits() != 0 {
			t.Errorf("part by part: %v", parts)
		}
		if half := s.turned(monday, monday.Add(year/2), "TOP"); len(half.GetMovements()) != 1 || half.GetTotals()[0].GetMean().GetMinorUnits() != 100*(c.more-c.less) || half.GetTotals()[0].GetTurns() != 0 {
			t.Errorf("the window ends as TOP goes: %v", half)
		}
	}
}

// What jobs give back was not used; what is scrapped, counted or sent back was not
// used by them. Parts without a cost are told.
func TestWhatCountsAsUsed(t *testing.T) {
	s := newSite(t)
	s.list("SEAL")
	free := aPart("FREE")
	free.Cost = nil
	must(s, setPart, &inventoryv1.SetPartRequest{Part: free})
	s.receive("FREE", 3)
	s.buys("SEAL", 10, 1000)
	s.passes(10 * time.Hour)
	s.uses(1, "SEAL", 4)
	s.uses(2, "FREE", 1)
	must(s, returnParts, &inventoryv1.ReturnPartsRequest{Job: jobName(1), Lines: []string{"a"}})
	must(s, scrapPart, &inventoryv1.ScrapPartRequest{Part: "SEAL", Quantity: 1, Reason: "bent"})
	s.uses(3, "SEAL", 3)
	s.passes(10 * time.Hour) // ten hours 1000, ten hours 600
	r := s.turned(monday, s.now, "")
	total := r.GetTotals()[0]
	if total.GetIssued().GetMinorUnits() != 700 || total.GetReturned().GetMinorUnits() != 400 || total.GetMean().GetMinorUnits() != 800 || r.GetPartsWithoutCost() != 1 {
		t.Errorf("%v", r)
	}
	if want := 300.0 / 800 * 365 * 24 / 20; math.Abs(total.GetTurns()-want) > 1e-9*want || math.Abs(total.GetDays()*want-365) > 1e-6 {
		t.Errorf("%v turns lasting %v days, want %v", total.GetTurns(), total.GetDays(), want)
	}
	if r := s.turned(monday.Add(-time.Hour), monday, ""); len(r.GetTotals()) != 0 || len(r.GetParts()) != 0 {
		t.Errorf("before anything lay there: %v", r)
	}
}

// In any window the mean is that of the values hour by hour, also when the
// movements have left the state.
func TestStockTurnInAnyWindow(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := newSite(t)
		s.list("AA", "BB")
		job := 0
		for range rapid.IntRange(1, 12).Draw(t, "bursts") {
			for range rapid.IntRange(1, 40).Draw(t, "moves") {
				number := rapid.SampledFrom([]string{"AA", "BB"}).Draw(t, "part")
				if there := s.st.parts[number].onHand; there > 0 && rapid.Bool().Draw(t, "uses") {
					job++
					s.uses(job, number, rapid.Int64Range(1, there).Draw(t, "quantity"))
				} else {
					s.buys(number, rapid.Int64Range(1, 9).Draw(t, "quantity"), rapid.Int64Range(0, 999).Draw(t, "cost"))
				}
			}
			s.passes(time.Duration(rapid.IntRange(1, 40).Draw(t, "hours")) * time.Hour)
		}
		from := rapid.IntRange(-2, 60).Draw(t, "from")
		length := rapid.IntRange(1, 100).Draw(t, "length")
		begin, end := monday.Add(time.Duration(from)*time.Hour), monday.Add(time.Duration(from+length)*time.Hour)
		var sum, issued int64
		for hour := begin; hour.Before(end); hour = hour.Add(time.Hour) {
			last := map[string]int64{}
			for _, m := range s.history {
				moved, is := m.(*inventoryv1.StockMoved)
				if !is || moved.GetMovement().GetAt().AsTime().After(hour) {
					continue
				}
				last[moved.GetMovement().GetPart()] = moved.GetMovement().GetValueAfterMinorUnits()
				if moved.GetMovement().GetAt().AsTime().Equal(hour) && moved.GetMovement().GetKind() == inventoryv1.MovementKind_MOVEMENT_KIND_ISSUED {
					issued -= moved.GetMovement().GetValueMinorUnits()
				}
			}
			sum += last["AA"] + last["BB"]
		}
		r := s.turned(begin, end, "")
		total := &inventoryv1.StockTurn{}
		if len(r.GetTotals()) > 0 {
			total = r.GetTotals()[0]
		}
		if mean := (2*sum + int64(length)) / (2 * int64(length)); total.GetMean().GetMinorUnits() != mean || total.GetIssued().GetMinorUnits() != issued {
			t.Fatalf("%v, want a mean of %d and %d issued", total, mean, issued)
		}
	})
}

func TestAskingHowStockTurns(t *testing.T) {
	r := newRig(t)
	for _, number := range []string{"V-1", "V-2", "V-3"} {
		r.set(aPart(number))
		r.receives(number, 1)
	}
	ask := func(req *inventoryv1.GetStockTurnRequest) error {
		_, err := r.buying.GetStockTurn(r.ctx, req)
		return err
	}
	// The site's clock stands still, so all came in at the end of this window.
	before := window(monday.Add(-time.Hour), monday.Add(time.Hour))
	one, err := r.buying.GetStockTurn(r.ctx, &inventoryv1.GetStockTurnRequest{When: before, Part: "V-2"})
	check(t, err)
	if !one.GetWhen().GetEnd().AsTime().Equal(monday) || len(one.GetTotals()) != 0 || len(one.GetMovements()) != 0 {
		t.Errorf("cut off at now: %v", one)
	}
	if err := ask(&inventoryv1.GetStockTurnRequest{When: before, Part: "NONE"}); fault.KindOf(err) != fault.NotFound {
		t.Errorf("an unknown part: %v", err)
	}
	wantReason(t, ask(&inventoryv1.GetStockTurnRequest{When: window(monday, monday.Add(time.Hour))}), "WINDOW_INVALID")
	wantReason(t, ask(&inventoryv1.GetStockTurnRequest{When: window(monday.Add(-time.Hour), monday.Add(-time.Hour))}), "WINDOW_INVALID")
	wantReason(t, ask(&inventoryv1.GetStockTurnRequest{When: window(monday.Add(-11*year), monday)}), "WINDOW_INVALID")
	wantReason(t, ask(&inventoryv1.GetStockTurnRequest{When: &commonv1.Interval{Start: timestamppb.New(monday)}}), "WINDOW_INVALID")
	wantReason(t, ask(&inventoryv1.GetStockTurnRequest{When: before, PageToken: "-1"}), "PAGE_TOKEN_INVALID")
}

// Pages hold the parts in order, and those of one part its movements.
func TestPagesOfStockTurn(t *testing.T) {
	s := newSite(t)
	s.list("AA", "BB", "CC")
	for i, number := range []string{"AA", "BB", "CC"} {
		s.buys(number, 1, 100*int64(i+1))
		s.buys(number, 1, 100*int64(i+1))
	}
	s.passes(time.Hour)
	for only, want := range map[string][]string{"": {"CC", "BB", "AA"}, "BB": {"4", "3"}} {
		req := &inventoryv1.GetStockTurnRequest{Part: only, PageSize: 1}
		var got []string
		for {
			r := s.turned(monday, s.now, only)
			check(t, pageOfTurn(r, req))
			if only == "" {
				got = append(got, r.GetParts()[0].GetPart())
			} else {
				got = append(got, fmt.Sprint(r.GetMovements()[0].GetNumber()))
			}
			if req.PageToken = r.GetNextPageToken(); req.GetPageToken() == "" {
				break
			}
		}
		if !slices.Equal(got, want) {
			t.Errorf("pages of %q: %v, want %v", only, got, want)
		}
	}
}

// A page token comes from outside: one far beyond the last part, whose end no int
// holds, ends the list like any other that is too large.
func TestPagesOfClasses(t *testing.T) {
	r := newRig(t)
	r.set(aPart("V-1"))
	r.set(aPart("V-2"))
	ask := func(token string) (*inventoryv1.ListClassesResponse, error) {
		return r.buying.ListClasses(r.ctx, &inventoryv1.ListClassesRequest{PageSize: 1, PageToken: token})
	}
	first, err := ask("")
	check(t, err)
	last, err := ask(first.GetNextPageToken())
	check(t, err)
	if first.GetNextPageToken() == "" || last.GetNextPageToken() != "" || len(first.GetParts()) != 1 || len(last.GetParts()) != 1 ||
		first.GetParts()[0].GetPart() == last.GetParts()[0].GetPart() {
		t.Errorf("two pages of two parts: %v, %v", first, last)
	}
	beyond, err := ask(strconv.Itoa(math.MaxInt))
	check(t, err)
	if len(beyond.GetParts()) != 0 || beyond.GetNextPageToken() != "" {
		t.Errorf("beyond the end: %v", beyond)
	}
	for _, token := range []string{"-1", "one"} {
		_, err := ask(token)
		wantReason(t, err, "PAGE_TOKEN_INVALID")
	}
}
