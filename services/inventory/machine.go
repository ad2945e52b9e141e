package inventory

import (
	rest "ramprow/internal/platform/shelf"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/statecode"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	logv1 "ramprow/proto/ramprow/log/v1"
)

// Service is the name of the service's log.
const Service = "inventory"

// The services whose events cause reactions here.
const (
	jobService        = "job"
	schedulingService = "scheduling"
)

// Machine is the inventory as a state machine over its site's log.
func Machine() sitelog.Machine[*State] {
	return sitelog.Machine[*State]{
		Service:  Service,
		New:      newState,
		Evolve:   evolve,
		Follows:  []string{jobService, schedulingService},
		React:    react,
		Due:      due,
		Fire:     fire,
		Snapshot: snapshot,
		Restore:  restore,
		Schema:   statecode.Schema[kept](foldVersion),
	}
}

// evolve applies one event. Events of another build are left alone.
func evolve(st *State, e sitelog.Event) {
	switch m := e.Message.(type) {
	case *inventoryv1.PartListed:
		st.list(m.GetPart())
	case *inventoryv1.StockMoved:
		st.move(m.GetMovement())
	case *inventoryv1.PartsHeld:
		st.setHold(m.GetHold(), e.Time)
	case *inventoryv1.PartsShort:
		st.setHold(m.GetHold(), e.Time)
		st.lastShort = e.Time
	case *inventoryv1.HoldNarrowed:
		st.setHold(m.GetHold(), e.Time)
	case *inventoryv1.PartsIssued:
		st.setHold(m.GetHold(), e.Time)
	case *inventoryv1.PartsReturned:
		st.setHold(m.GetHold(), e.Time)
	case *inventoryv1.PartsPicked:
		st.setHold(m.GetHold(), e.Time)
	case *inventoryv1.PartsStaged:
		st.setHold(m.GetHold(), e.Time)
	case *inventoryv1.PartsPutAway:
		st.setHold(m.GetHold(), e.Time)
	case *inventoryv1.ReturnOpened:
		st.returns[m.GetReturn().GetName()] = m.GetReturn()
		st.returned = rest.Number(m.GetReturn().GetName())
	case *inventoryv1.ReturnMoved:
		st.returns[m.GetReturn().GetName()] = m.GetReturn()
	case *inventoryv1.CountAsked:
		st.parts[m.GetQuestion().GetPart()].question = m.GetQuestion()
	case *inventoryv1.CountSettled:
		st.parts[m.GetPart()].question = nil
	case *inventoryv1.HoldReleased:
		st.endHold(m, e.Time)
	case *inventoryv1.HoldExtended:
		st.extend(m)
	case *inventoryv1.HoldBooked:
		st.book(m)
	case *inventoryv1.OrderPlaced:
		st.setOrder(m.GetOrder())
		st.placed++
	case *inventoryv1.OrderConfirmed:
		st.setOrder(m.GetOrder())
	case *inventoryv1.GoodsReceived:
		st.suppliers.arrived(st.orders[m.GetOrder()], m, e.Time)
		st.setOrder(m.GetAfter())
	case *inventoryv1.OrderCancelled:
		st.cancelOrder(m.GetOrder())
	case *inventoryv1.SupplierSet:
		st.suppliers.terms[m.GetSupplier().GetId()] = m.GetSupplier()
	case *inventoryv1.OfferSet:
		st.suppliers.set(m.GetOffer())
	case *logv1.Archived:
		st.archive(m, e.Number, e.Time)
	case *logv1.Recalled:
		st.recall(m, e.Time)
	}
	st.settle(e)
}

// settle notes what an event leaves settled.
func (st *State) settle(e sitelog.Event) {
	switch m := e.Message.(type) {
	case interface{ GetJob() string }:
		st.settleHold(m.GetJob(), e.Time)
	case interface{ GetOrder() string }:
		st.settleOrder(m.GetOrder(), e.Time)
	case interface{ GetReturn() *inventoryv1.Return }:
		st.settleReturn(m.GetReturn(), e.Time)
	case interface{ GetOrder() *inventoryv1.Order }:
		st.settleOrder(m.GetOrder().GetName(), e.Time)
	}
}
