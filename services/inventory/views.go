package inventory

import (
	"fmt"
	"strconv"

	"ramprow/internal/platform/readmodel"
	rest "ramprow/internal/platform/shelf"
	"ramprow/internal/platform/sitelog"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// viewsVersion grows when a row means something else for the same state.
const viewsVersion = 3

// The models of rows that readers ask for.
const (
	modelParts     = "parts"     // by number
	modelHolds     = "holds"     // by job
	modelOrders    = "orders"    // by name
	modelMovements = "movements" // by number
	modelReturns   = "returns"   // by name
)

// The indexes that list them.
const (
	indexAll     = "all"
	indexNeeding = "needing" // parts that somebody should order
	indexOpen    = "open"    // orders that still bring something
)

// indexState lists the holds in one state.
func indexState(s inventoryv1.HoldState) string { return fmt.Sprintf("state-%d", s) }

// indexMovements lists the movements of one part.
func indexMovements(number string) string { return "of-" + number }

// indexJob lists what came of one job.
func indexJob(job string) string { return "of-" + job }

// indexBin lists the parts of one bin.
func indexBin(bin string) string { return "in-" + bin }

// Projection says how the state becomes rows.
func Projection() readmodel.Projection[*State] {
	return readmodel.Projection[*State]{
		Version: viewsVersion,
		Machine: Machine(),
		Models:  []string{modelParts, modelHolds, modelOrders, modelMovements, modelReturns},
		Touched: touched,
		Row:     row,
		Keys:    keys,
		Archive: archive(),
	}
}

func touched(st *State, e sitelog.Event) []readmodel.Key {
	switch m := e.Message.(type) {
	case *inventoryv1.PartListed:
		return []readmodel.Key{partKey(m.GetPart().GetNumber())}
	case *inventoryv1.StockMoved:
		return []readmodel.Key{movementKey(m.GetMovement().GetNumber()), partKey(m.GetMovement().GetPart())}
	case *inventoryv1.PartsHeld:
		return st.touchedBy(m.GetJob())
	case *inventoryv1.PartsShort:
		return st.touchedBy(m.GetJob())
	case *inventoryv1.HoldNarrowed:
		return st.touchedBy(m.GetJob())
	case *inventoryv1.PartsIssued:
		return st.touchedBy(m.GetJob())
	case *inventoryv1.PartsReturned:
		return st.touchedBy(m.GetJob())
	case *inventoryv1.PartsPicked:
		return st.touchedBy(m.GetJob())
	case *inventoryv1.PartsStaged:
		return st.touchedBy(m.GetJob())
	case *inventoryv1.PartsPutAway:
		return st.touchedBy(m.GetJob())
	case *inventoryv1.HoldReleased:
		return st.touchedBy(m.GetJob())
	case *inventoryv1.HoldBooked:
		return []readmodel.Key{holdKey(m.GetJob())}
	case *inventoryv1.HoldExtended:
		return []readmodel.Key{holdKey(m.GetJob())}
	case *inventoryv1.OrderPlaced:
		return st.touchedByOrder(m.GetOrder().GetName())
	case *inventoryv1.OrderConfirmed:
		return st.touchedByOrder(m.GetOrder().GetName())
	case *inventoryv1.GoodsReceived:
		return st.touchedByOrder(m.GetOrder())
	case *inventoryv1.OrderCancelled:
		return st.touchedByOrder(m.GetOrder())
	case *inventoryv1.ReturnOpened:
		return []readmodel.Key{returnKey(m.GetReturn().GetName())}
	case *inventoryv1.ReturnMoved:
		return []readmodel.Key{returnKey(m.GetReturn().GetName())}
	}
	return nil
}

// touchedBy gives a hold's row and those of the parts it names or named before.
func (st *State) touchedBy(job string) []readmodel.Key {
	h := st.holds[job]
	keys := []readmodel.Key{holdKey(job)}
	for _, number := range h.were {
		keys = append(keys, partKey(number))
	}
	for number := range tallyOf(h.doc) {
		keys = append(keys, partKey(number))
	}
	return keys
}

// touchedByOrder gives an order's row and its parts'. A confirmation cannot take
// a part off an order, so the present lines name them all.
func (st *State) touchedByOrder(name string) []readmodel.Key {
	keys := []readmodel.Key{orderKey(name)}
	for _, l := range st.orders[name].GetLines() {
		keys = append(keys, partKey(l.GetPart()))
	}
	return keys
}

func row(st *State, key readmodel.Key) (readmodel.Row, bool) {
	switch key.Model {
	case modelParts:
		if p := st.parts[key.ID]; p != nil {
			return partRow(p), true
		}
	case modelHolds:
		if h := st.holds[key.ID]; h != nil {
			return holdRow(h.doc), true
		}
	case modelOrders:
		if o := st.orders[key.ID]; o != nil {
			return orderRow(o), true
		}
	case modelReturns:
		if r := st.returns[key.ID]; r != nil {
			return returnRow(r), true
		}
	case modelMovements:
		n, err := strconv.ParseUint(key.ID, 10, 64)
		if m := st.movements[n]; err == nil && m != nil {
			return movementRow(m), true
		}
	}
	return readmodel.Row{}, false
}

func partRow(p *part) readmodel.Row {
	index := []readmodel.IndexEntry{{Name: indexAll, Order: p.about.GetNumber()}}
	if p.needsOrder() {
		index = append(index, readmodel.IndexEntry{Name: indexNeeding, Order: p.about.GetNumber()})
	}
	if bin := p.about.GetBin(); bin != "" {
		index = append(index, readmodel.IndexEntry{Name: indexBin(bin), Order: p.about.GetNumber()})
	}
	return readmodel.Row{Value: p.shown(), Index: index}
}

// needsOrder tells whether a job waits for a part, or it is at its reorder point.
func (p *part) needsOrder() bool {
	if p.wanted > 0 {
		return true
	}
	point := p.about.GetReorderPoint()
	return point > 0 && p.onHand-p.held+p.onOrder-p.wanted <= point
}

func holdRow(doc *inventoryv1.Hold) readmodel.Row {
	order := sortable(rest.Number(doc.GetJob()))
	return readmodel.Row{Value: doc, Index: []readmodel.IndexEntry{
		{Name: indexAll, Order: order},
		{Name: indexState(doc.GetState()), Order: order},
	}}
}

func orderRow(o *inventoryv1.Order) readmodel.Row {
	order := sortable(rest.Number(o.GetName()))
	index := []readmodel.IndexEntry{{Name: indexAll, Order: order}}
	if !bringsNothing(o) {
		index = append(index, readmodel.IndexEntry{Name: indexOpen, Order: order})
	}
	return readmodel.Row{Value: o, Index: index}
}

// bringsNothing tells whether an order is over.
func bringsNothing(o *inventoryv1.Order) bool {
	return o.GetState() == inventoryv1.OrderState_ORDER_STATE_RECEIVED || o.GetState() == inventoryv1.OrderState_ORDER_STATE_CANCELLED
}

func movementRow(m *inventoryv1.Movement) readmodel.Row {
	return readmodel.Row{Value: m, Index: []readmodel.IndexEntry{{Name: indexMovements(m.GetPart()), Order: sortable(m.GetNumber())}}}
}

// returnRow is listed beside all, beside those that are open, and by its job.
func returnRow(r *inventoryv1.Return) readmodel.Row {
	order := sortable(rest.Number(r.GetName()))
	index := []readmodel.IndexEntry{{Name: indexAll, Order: order}}
	if !closed(r) {
		index = append(index, readmodel.IndexEntry{Name: indexOpen, Order: order})
	}
	if r.GetJob() != "" {
		index = append(index, readmodel.IndexEntry{Name: indexJob(r.GetJob()), Order: order})
	}
	return readmodel.Row{Value: r, Index: index}
}

func returnKey(name string) readmodel.Key { return readmodel.Key{Model: modelReturns, ID: name} }

// sortable writes a number so that bytes sort as numbers do.
func sortable(n uint64) string { return fmt.Sprintf("%020d", n) }

func keys(st *State, model string) []readmodel.Key {
	var keys []readmodel.Key
	switch model {
	case modelParts:
		for number := range st.parts {
			keys = append(keys, partKey(number))
		}
	case modelHolds:
		for job := range st.holds {
			keys = append(keys, holdKey(job))
		}
	case modelOrders:
		for name := range st.orders {
			keys = append(keys, orderKey(name))
		}
	case modelReturns:
		for name := range st.returns {
			keys = append(keys, returnKey(name))
		}
	case modelMovements:
		for _, m := range st.movements {
			keys = append(keys, movementKey(m.GetNumber()))
		}
	}
	return keys
}

func partKey(number string) readmodel.Key { return readmodel.Key{Model: modelParts, ID: number} }
func holdKey(job string) readmodel.Key    { return readmodel.Key{Model: modelHolds, ID: job} }
func orderKey(name string) readmodel.Key  { return readmodel.Key{Model: modelOrders, ID: name} }

func movementKey(number uint64) readmodel.Key {
	return readmodel.Key{Model: modelMovements, ID: strconv.FormatUint(number, 10)}
}
