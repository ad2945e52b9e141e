package recount

import (
	"cmp"
	"maps"
	"math/big"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	"ramprow/services/ramprow/simulate/invariants"
)

// StockTurn gives what GetStockTurn should answer at a moment about all parts, but for their titles. It walks from the
// first movement on, and asks in every piece of the window what each part was worth.
func StockTurn(logs invariants.Logs, from, to, now time.Time) *inventoryv1.GetStockTurnResponse {
	to = earlier(to, now)
	moves := movesOf(logs)
	edges := []time.Time{from, to}
	for _, m := range moves {
		if m.at.After(from) && m.at.Before(to) {
			edges = append(edges, m.at)
		}
	}
	slices.SortFunc(edges, time.Time.Compare)
	held := map[[2]string]*big.Rat{} // by part and currency, in minor units times days
	for i := 1; i < len(edges); i++ {
		for lot, worth := range worthAt(moves, edges[i-1]) {
			if held[lot] == nil {
				held[lot] = new(big.Rat)
			}
			held[lot].Add(held[lot], new(big.Rat).Mul(big.NewRat(worth, 1), days(edges[i].Sub(edges[i-1]))))
		}
	}
	issued, returned, unpriced := map[[2]string]int64{}, map[[2]string]int64{}, map[string]bool{}
	for _, m := range moves {
		lot := [2]string{m.GetPart(), m.GetCurrencyCode()}
		switch used := m.GetKind(); {
		case m.at.Before(from) || !m.at.Before(to):
		case used == inventoryv1.MovementKind_MOVEMENT_KIND_ISSUED && lot[1] == "":
			unpriced[lot[0]] = true
		case used == inventoryv1.MovementKind_MOVEMENT_KIND_ISSUED:
			issued[lot] -= m.GetValueMinorUnits()
		case used == inventoryv1.MovementKind_MOVEMENT_KIND_RETURNED && lot[1] != "":
			returned[lot] += m.GetValueMinorUnits()
		}
	}
	r := &inventoryv1.GetStockTurnResponse{
		When: &commonv1.Interval{Start: timestamppb.New(from), End: timestamppb.New(to)}, PartsWithoutCost: int32(len(unpriced)), //nolint:gosec // few parts
	}
	lots := map[[2]string]bool{}
	for lot := range held {
		lots[lot] = held[lot].Sign() != 0
	}
	for _, values := range []map[[2]string]int64{issued, returned} {
		for lot, value := range values {
			lots[lot] = lots[lot] || value != 0
		}
	}
	maps.DeleteFunc(lots, func(_ [2]string, counts bool) bool { return !counts })
	order := slices.SortedFunc(maps.Keys(lots), func(a, b [2]string) int {
		return cmp.Or(orNothing(held[b]).Cmp(orNothing(held[a])), cmp.Compare(a[0], b[0]), cmp.Compare(a[1], b[1]))
	})
	type sum struct {
		issued, returned int64
		held             *big.Rat
	}
	sums := map[string]sum{}
	for _, lot := range order {
		t := turn(lot[1], issued[lot], returned[lot], orNothing(held[lot]), to.Sub(from))
		t.Part = lot[0]
		r.Parts = append(r.Parts, t)
		s := sums[lot[1]]
		sums[lot[1]] = sum{s.issued + issued[lot], s.returned + returned[lot], new(big.Rat).Add(orNothing(s.held), orNothing(held[lot]))}
	}
	for _, currency := range slices.Sorted(maps.Keys(sums)) {
		s := sums[currency]
		r.Totals = append(r.Totals, turn(currency, s.issued, s.returned, s.held, to.Sub(from)))
	}
	return r
}

func orNothing(r *big.Rat) *big.Rat {
	if r == nil {
		return new(big.Rat)
	}
	return r
}

func days(length time.Duration) *big.Rat { return big.NewRat(int64(length), int64(24*time.Hour)) }

// turn is a rate a year of 365 days, from minor units and minor units times days.
func turn(currency string, issued, returned int64, held *big.Rat, length time.Duration) *inventoryv1.StockTurn {
	amount := func(units int64) *commonv1.Money {
		return &commonv1.Money{MinorUnits: units, CurrencyCode: currency}
	}
	mean := new(big.Rat).Quo(held, days(length))
	half := new(big.Rat).Add(mean, big.NewRat(1, 2))
	t := &inventoryv1.StockTurn{
		Issued: amount(issued), Returned: amount(returned), Mean: amount(new(big.Int).Div(half.Num(), half.Denom()).Int64()),
	}
	if issued <= returned || mean.Sign() <= 0 {
		return t
	}
	aDay := new(big.Rat).Quo(big.NewRat(issued-returned, 1), days(length))
	t.Days, _ = new(big.Rat).Quo(mean, aDay).Float64()
	t.Turns, _ = new(big.Rat).Quo(new(big.Rat).Mul(aDay, big.NewRat(365, 1)), mean).Float64()
	return t
}

// move is a movement with a time that is never after the one of a later movement.
type move struct {
	*inventoryv1.Movement
	at time.Time
}

func movesOf(logs invariants.Logs) []move {
	var moves []move
	each(logs["inventory"], func(_ invariants.Commit, _, _ int, m proto.Message) {
		if moved, is := m.(*inventoryv1.StockMoved); is {
			moves = append(moves, move{moved.GetMovement(), moved.GetMovement().GetAt().AsTime()})
		}
	})
	for i := len(moves) - 1; i > 0; i-- {
		moves[i-1].at = earlier(moves[i-1].at, moves[i].at)
	}
	return moves
}

// worthAt gives what the newest movement of each part until a moment says, by part and currency.
func worthAt(moves []move, moment time.Time) map[[2]string]int64 {
	worth := map[[2]string]int64{}
	for _, m := range moves {
		if !m.at.After(moment) && m.GetCurrencyCode() != "" {
			worth[[2]string{m.GetPart(), m.GetCurrencyCode()}] = m.GetValueAfterMinorUnits()
		}
	}
	return worth
}
