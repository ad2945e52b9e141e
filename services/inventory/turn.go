package inventory

import (
	"cmp"
	"math/big"
	"slices"
	"strconv"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/engine/replenish"
	"ramprow/internal/platform/fault"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// year is what a rate of stock turning is for.
const year = 365 * 24 * time.Hour

// turnover is how the value of stock was used up in a window. Like a valuation it
// begins with what is there now and takes movements back; what lay there between
// two of them counts as long as it did.
type turnover struct {
	from, to time.Time
	only     string // one part alone; empty: all
	lots     map[lot]*turned
	titles   map[string]string
	// back is the time that was reached. A movement's own may be after it, should a
	// clock have gone back; then the later movement's counts.
	back      time.Time
	next      uint64
	movements []*inventoryv1.Movement // of the one part, the newest first
	unpriced  map[string]bool
	done      bool
}

// lot is a part as far as it was valued in a currency.
type lot struct{ part, currency string }

// turned is what became of a lot. Amounts are in minor units.
type turned struct {
	value            int64 // since since
	since            time.Time
	issued, returned int64
	// held is the value times nanoseconds.
	held big.Int
}

func (st *State) turnover(from, to time.Time, only string) *turnover {
	t := &turnover{from: from, to: to, only: only, lots: map[lot]*turned{}, titles: map[string]string{}, back: to, next: st.moved, unpriced: map[string]bool{}}
	for number, p := range st.parts {
		if only == "" || number == only {
			t.titles[number] = p.about.GetTitle()
			if p.worth.currency != "" {
				t.of(lot{number, p.worth.currency}).value = p.worth.Value
			}
		}
	}
	return t
}

func (t *turnover) of(l lot) *turned {
	u := t.lots[l]
	if u == nil {
		u = &turned{since: t.to}
		t.lots[l] = u
	}
	return u
}

// page gives the movements that come next, the newest first; or the error that
// brings them back from the archive.
func (t *turnover) page(st *State) ([]*inventoryv1.Movement, error) { return st.movementsBack(t.next) }

func (t *turnover) over() bool { return t.done }

func (t *turnover) takeBack(movements []*inventoryv1.Movement) {
	for _, m := range movements {
		if at := m.GetAt().AsTime(); at.Before(t.back) {
			t.back = at
		}
		if t.back.Before(t.from) {
			t.done = true
			return
		}
		t.next--
		if t.only == "" || m.GetPart() == t.only {
			t.undo(m)
		}
	}
	t.done = t.next == 0
}

func (t *turnover) undo(m *inventoryv1.Movement) {
	within := t.back.Before(t.to)
	if within && t.only != "" {
		t.movements = append(t.movements, m)
	}
	if m.GetCurrencyCode() == "" {
		if within && m.GetKind() == inventoryv1.MovementKind_MOVEMENT_KIND_ISSUED {
			t.unpriced[m.GetPart()] = true
		}
		return
	}
	u := t.of(lot{m.GetPart(), m.GetCurrencyCode()})
	u.lay(t.back)
	u.value -= m.GetValueMinorUnits()
	switch {
	case !within:
	case m.GetKind() == inventoryv1.MovementKind_MOVEMENT_KIND_ISSUED:
		u.issued = upTo(u.issued, -m.GetValueMinorUnits())
	case m.GetKind() == inventoryv1.MovementKind_MOVEMENT_KIND_RETURNED:
		u.returned = upTo(u.returned, m.GetValueMinorUnits())
	}
}

// lay counts the value from a time on.
func (u *turned) lay(from time.Time) {
	if from.Before(u.since) {
		u.held.Add(&u.held, new(big.Int).Mul(big.NewInt(u.value), big.NewInt(int64(u.since.Sub(from)))))
		u.since = from
	}
}

func (u *turned) add(other *turned) {
	u.issued, u.returned = upTo(u.issued, other.issued), upTo(u.returned, other.returned)
	u.held.Add(&u.held, &other.held)
}

// upTo adds amounts up to the most that can be told.
func upTo(a, b int64) int64 { return min(a+b, replenish.MaxValue) }

// report is the answer to be, with all that there is.
func (t *turnover) report() *inventoryv1.GetStockTurnResponse {
	r := &inventoryv1.GetStockTurnResponse{
		When:      &commonv1.Interval{Start: timestamppb.New(t.from), End: timestamppb.New(t.to)},
		Movements: t.movements, PartsWithoutCost: int32(len(t.unpriced)), //nolint:gosec // few parts
	}
	totals := map[string]*turned{}
	var lots []lot
	for l, u := range t.lots {
		u.lay(t.from)
		if u.issued == 0 && u.returned == 0 && u.held.Sign() == 0 {
			continue
		}
		lots = append(lots, l)
		if totals[l.currency] == nil {
			totals[l.currency] = &turned{}
		}
		totals[l.currency].add(u)
	}
	slices.SortFunc(lots, func(a, b lot) int {
		return cmp.Or(t.lots[b].held.Cmp(&t.lots[a].held), cmp.Compare(a.part, b.part), cmp.Compare(a.currency, b.currency))
	})
	for _, l := range lots {
		turn := t.lots[l].turn(l.currency, t.to.Sub(t.from))
		turn.Part, turn.Title = l.part, t.titles[l.part]
		r.Parts = append(r.Parts, turn)
	}
	for currency, u := range totals {
		r.Totals = append(r.Totals, u.turn(currency, t.to.Sub(t.from)))
	}
	slices.SortFunc(r.GetTotals(), func(a, b *inventoryv1.StockTurn) int {
		return cmp.Compare(a.GetMean().GetCurrencyCode(), b.GetMean().GetCurrencyCode())
	})
	return r
}

func (u *turned) turn(currency string, length time.Duration) *inventoryv1.StockTurn {
	mean := new(big.Int).Mul(&u.held, big.NewInt(2))
	mean.Add(mean, big.NewInt(int64(length)))
	mean.Div(mean, big.NewInt(2*int64(length)))
	if most := big.NewInt(replenish.MaxValue); mean.Cmp(most) > 0 {
		mean = most
	}
	r := &inventoryv1.StockTurn{Issued: money(u.issued, currency), Returned: money(u.returned, currency), Mean: money(mean.Int64(), currency)}
	if net := u.issued - u.returned; net > 0 && u.held.Sign() > 0 {
		turns := new(big.Rat).SetFrac(new(big.Int).Mul(big.NewInt(net), big.NewInt(int64(year))), &u.held)
		r.Turns, _ = turns.Float64()
		r.Days, _ = turns.Quo(big.NewRat(int64(year/(24*time.Hour)), 1), turns).Float64()
	}
	return r
}

// turnWindow reads a window, cut off at now.
func turnWindow(when *commonv1.Interval, now time.Time) (from, to time.Time, err error) {
	bad := fault.New(fault.Invalid, "WINDOW_INVALID", "stock turns in a window that begins before now and before its end; give its start and its end")
	if when.GetStart() == nil || when.GetEnd() == nil || when.GetStart().CheckValid() != nil || when.GetEnd().CheckValid() != nil {
		return from, to, bad.WithField("when", "needs a start and an end")
	}
	if from, to = when.GetStart().AsTime(), when.GetEnd().AsTime(); to.After(now) {
		to = now
	}
	if !from.Before(to) {
		return from, to, bad.WithField("when", "must begin before its end and before now")
	}
	if to.Sub(from) > longestTurn {
		return from, to, bad.WithField("when", "must be ten years at most")
	}
	return from, to, nil
}

// longestTurn keeps what is multiplied by a window's length within reach.
const longestTurn = 10 * year

// pageOfTurn cuts parts, or the movements of one part, to a page.
func pageOfTurn(r *inventoryv1.GetStockTurnResponse, req *inventoryv1.GetStockTurnRequest) (err error) {
	if req.GetPart() != "" {
		r.Movements, r.NextPageToken, err = cutAt(r.GetMovements(), req.GetPageToken(), sizeOf(req.GetPageSize()))
	} else {
		r.Parts, r.NextPageToken, err = cutAt(r.GetParts(), req.GetPageToken(), sizeOf(req.GetPageSize()))
	}
	return err
}

// cutAt keeps one page of what is listed anew for each: a token is the place of
// the next one in the list.
func cutAt[T any](all []T, token string, size int) (page []T, next string, err error) {
	from := 0
	if token != "" {
		if from, err = strconv.Atoi(token); err != nil || from < 0 {
			return nil, "", fault.New(fault.Invalid, "PAGE_TOKEN_INVALID", "the page token is none of ours; begin with the first page").
				WithField("page_token", "must come from the answer before")
		}
	}
	from = min(from, len(all))
	to := min(from+size, len(all))
	if to < len(all) {
		next = strconv.Itoa(to)
	}
	return all[from:to], next, nil
}
