package inventory

import (
	"maps"
	"slices"
	"time"

	rest "ramprow/internal/platform/shelf"
	"ramprow/internal/platform/statecode"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// foldVersion is raised when evolve makes something else of the same events, so
// that snapshots of the old fold are not used.
const foldVersion = 2

// kept is what a snapshot holds of a site: what does not follow from anything else.
type kept struct {
	Parts      map[string]keptPart
	Successors map[string]string
	Holds      map[string]keptHold
	Orders     map[string]*inventoryv1.Order
	Movements  map[uint64]*inventoryv1.Movement
	Moved      uint64
	HoldShelf  rest.Kept
	OrderShelf rest.Kept
	PageShelf  rest.Kept
	Returns    map[string]*inventoryv1.Return
	Returned   uint64
	BackShelf  rest.Kept
	Placed     uint64
	Suppliers  keptSuppliers
	LastExpiry time.Time
	LastShort  time.Time
}

type keptPart struct {
	About     *inventoryv1.Part
	OnHand    int64
	Worth     keptWorth
	FirstWeek int64
	Weeks     []keptWeek
	Moves     map[int32]keptMoves // by kind
	Counted   *inventoryv1.Movement
	Question  *inventoryv1.CountQuestion
}

type keptMoves struct{ Quantity, Movements, Value int64 }

type keptWorth struct {
	Value, LastQuantity, LastValue int64
	Currency                       string
}

type keptSuppliers struct {
	Terms  map[string]*inventoryv1.Supplier
	Offers []*inventoryv1.Offer
	Late   map[string][]int
}

type keptWeek struct{ Week, Taken int64 }

type keptHold struct {
	Doc   *inventoryv1.Hold
	Since time.Time
	Lost  map[string]bool
	Over  bool
	Were  []string
}

// snapshot copies what evolve changes in place; messages are shared.
func snapshot(st *State) func() ([]byte, error) {
	k := kept{
		Parts: make(map[string]keptPart, len(st.parts)), Successors: maps.Clone(st.successors),
		Holds: make(map[string]keptHold, len(st.holds)), Orders: maps.Clone(st.orders),
		Movements: maps.Clone(st.movements), Moved: st.moved,
		HoldShelf: st.shelves.holds.Keep(), OrderShelf: st.shelves.orders.Keep(), PageShelf: st.shelves.pages.Keep(),
		Placed: st.placed, Suppliers: st.suppliers.keep(), LastExpiry: st.lastExpiry, LastShort: st.lastShort,
		Returns: maps.Clone(st.returns), Returned: st.returned, BackShelf: st.shelves.returns.Keep(),
	}
	for number, p := range st.parts {
		kp := keptPart{
			About: p.about, OnHand: p.onHand, Worth: p.worth.keep(), FirstWeek: p.usage.first, Moves: make(map[int32]keptMoves, len(p.moves)),
			Counted: p.counted, Question: p.question,
		}
		for _, w := range p.usage.weeks {
			kp.Weeks = append(kp.Weeks, keptWeek{Week: w.week, Taken: w.taken})
		}
		for kind, m := range p.moves {
			kp.Moves[int32(kind)] = keptMoves{m.quantity, m.movements, m.value}
		}
		k.Parts[number] = kp
	}
	for job, h := range st.holds {
		k.Holds[job] = keptHold{Doc: h.doc, Since: h.since, Lost: h.lost, Over: h.over, Were: slices.Clone(h.were)}
	}
	return func() ([]byte, error) { return statecode.Encode(&k) }
}

// restore gives the state back. Queues, deadlines and sums follow from the holds
// and orders by the functions that evolve uses.
func restore(site string, data []byte) (*State, error) {
	var k kept
	if err := statecode.Decode(data, &k); err != nil {
		return nil, err
	}
	st := newState(site)
	for number, kp := range k.Parts {
		p := newPart()
		p.about, p.onHand, p.usage.first = kp.About, kp.OnHand, kp.FirstWeek
		p.worth = kp.Worth.worth(kp.OnHand)
		p.counted, p.question = kp.Counted, kp.Question
		for _, w := range kp.Weeks {
			p.usage.weeks = append(p.usage.weeks, weekUse{week: w.Week, taken: w.Taken})
		}
		for kind, m := range kp.Moves {
			p.moves[inventoryv1.MovementKind(kind)] = moved{m.Quantity, m.Movements, m.Value}
		}
		st.parts[number] = p
		st.relabel(nil, kp.About)
	}
	for job, kh := range k.Holds {
		h := &holding{doc: kh.Doc, since: kh.Since, lost: kh.Lost, over: kh.Over, were: kh.Were}
		st.holds[job] = h
		st.take(h)
	}
	for _, o := range k.Orders {
		st.setOrder(o)
	}
	st.successors, st.movements, st.moved, st.placed = k.Successors, k.Movements, k.Moved, k.Placed
	st.shelves = shelves{holds: k.HoldShelf.Shelf(), orders: k.OrderShelf.Shelf(), pages: k.PageShelf.Shelf(), returns: k.BackShelf.Shelf()}
	st.returns, st.returned = k.Returns, k.Returned
	st.suppliers = k.Suppliers.suppliers()
	st.lastExpiry, st.lastShort = k.LastExpiry, k.LastShort
	return st, nil
}
