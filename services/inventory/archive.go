package inventory

import (
	"fmt"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/readmodel"
	rest "ramprow/internal/platform/shelf"
	"ramprow/internal/platform/sitelog"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	logv1 "ramprow/proto/ramprow/log/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// pageSize movements are archived together, once the last of them has rested.
const pageSize = 256

// pageOf is the page of a movement; the first page is 1.
func pageOf(movement uint64) uint64 { return (movement-1)/pageSize + 1 }

func pageName(page uint64) string { return fmt.Sprintf("movements/%d", page) }

func jobOf(number uint64) string { return fmt.Sprintf("jobs/%d", number) }

// shelves say where the things are that have left the state: holds from which
// nothing is wanted any more, by job; orders that bring nothing more; movements;
// returns that have ended.
type shelves struct{ holds, orders, pages, returns rest.Shelf }

// of gives the shelf of a thing and its number on it; nil: it never leaves.
func (s *shelves) of(name string) (*rest.Shelf, uint64) {
	number := rest.Number(name)
	switch {
	case number == 0:
	case name == jobOf(number):
		return &s.holds, number
	case name == orderName(number):
		return &s.orders, number
	case name == pageName(number):
		return &s.pages, number
	case name == returnName(number):
		return &s.returns, number
	}
	return nil, 0
}

func (s *shelves) find(name string) *sitelog.ArchivedError {
	if on, number := s.of(name); on != nil {
		return on.Find(number, name)
	}
	return nil
}

// archived gives the error that brings a hold (by job), an order or a page of
// movements back; nil if it is not archived.
func (st *State) archived(name string) *sitelog.ArchivedError { return st.shelves.find(name) }

// lacks gives the error that brings back what a request or an event is about.
func (st *State) lacks(m proto.Message) *sitelog.ArchivedError {
	switch m := m.(type) {
	case interface{ GetJob() string }:
		return st.archived(m.GetJob())
	case interface{ GetReturn() string }:
		return st.archived(m.GetReturn())
	case interface{ GetOrder() string }:
		return st.archived(m.GetOrder())
	case interface{ GetBooking() *schedulingv1.Booking }:
		return st.archived(m.GetBooking().GetJob())
	}
	return nil
}

func (s *shelves) due() (time.Time, bool) { return rest.Due(&s.holds, &s.orders, &s.pages, &s.returns) }

// archiveRipe archives what is settled and has rested: things of one kind at a time.
func (st *State) archiveRipe(now time.Time) ([]proto.Message, error) {
	for _, kind := range []struct {
		on     *rest.Shelf
		name   func(uint64) string
		record func(number uint64) proto.Message
	}{
		{&st.shelves.holds, jobOf, func(n uint64) proto.Message { return st.holds[jobOf(n)].record() }},
		{&st.shelves.orders, orderName, func(n uint64) proto.Message { return st.orders[orderName(n)] }},
		{&st.shelves.pages, pageName, st.page},
		{&st.shelves.returns, returnName, func(n uint64) proto.Message { return st.returns[returnName(n)] }},
	} {
		if events, err := kind.on.Archive(now, kind.name, kind.record); err != nil || len(events) > 0 {
			return events, err
		}
	}
	return nil, nil
}

func (h *holding) record() *inventoryv1.HoldRecord {
	return &inventoryv1.HoldRecord{Hold: h.doc, Since: timestamppb.New(h.since), Lost: h.lost, Over: h.over, Were: h.were}
}

func (st *State) page(number uint64) proto.Message {
	page := &inventoryv1.MovementPage{}
	for n := (number-1)*pageSize + 1; n <= number*pageSize; n++ {
		page.Movements = append(page.Movements, st.movements[n])
	}
	return page
}

func (st *State) archive(m *logv1.Archived, commit uint64, at time.Time) {
	on, number := st.shelves.of(m.GetName())
	if m.GetStays() {
		on.Stay(number)
		return
	}
	on.File(number, commit, at)
	switch on {
	case &st.shelves.holds:
		delete(st.holds, m.GetName())
	case &st.shelves.orders:
		delete(st.orders, m.GetName())
	case &st.shelves.returns:
		delete(st.returns, m.GetName())
	case &st.shelves.pages:
		for n := (number-1)*pageSize + 1; n <= number*pageSize; n++ {
			delete(st.movements, n)
		}
	}
}

func (st *State) recall(m *logv1.Recalled, at time.Time) {
	on, number := st.shelves.of(m.GetName())
	on.Recall(number, at)
	switch on {
	case &st.shelves.holds:
		var r inventoryv1.HoldRecord
		sitelog.Unpack(m.GetRecord(), &r)
		st.holds[m.GetName()] = &holding{doc: r.GetHold(), since: r.GetSince().AsTime(), lost: r.GetLost(), over: r.GetOver(), were: r.GetWere()}
	case &st.shelves.orders:
		var o inventoryv1.Order
		sitelog.Unpack(m.GetRecord(), &o)
		st.orders[m.GetName()] = &o
	case &st.shelves.returns:
		var r inventoryv1.Return
		sitelog.Unpack(m.GetRecord(), &r)
		st.returns[m.GetName()] = &r
	case &st.shelves.pages:
		var page inventoryv1.MovementPage
		sitelog.Unpack(m.GetRecord(), &page)
		for _, movement := range page.GetMovements() {
			st.movements[movement.GetNumber()] = movement
		}
	}
}

// settleHold notes whether anything is still wanted from a hold.
func (st *State) settleHold(job string, at time.Time) {
	switch h := st.holds[job]; {
	case h == nil:
	case wantsAnything(h.doc) || len(strays(h.doc)) > 0:
		st.shelves.holds.Stay(rest.Number(job))
	default:
		st.shelves.holds.Settle(rest.Number(job), at)
	}
}

func (st *State) settleOrder(name string, at time.Time) {
	switch o := st.orders[name]; {
	case o == nil:
	case bringsNothing(o):
		st.shelves.orders.Settle(rest.Number(name), at)
	default:
		st.shelves.orders.Stay(rest.Number(name))
	}
}

func (st *State) settleReturn(r *inventoryv1.Return, at time.Time) {
	if closed(r) {
		st.shelves.returns.Settle(rest.Number(r.GetName()), at)
	}
}

// archive says which rows belong to what may have left the state.
func archive() *readmodel.Archive[*State] {
	return &readmodel.Archive[*State]{
		Find: (*State).archived,
		All: func(st *State) []string {
			var names []string
			for _, number := range st.shelves.holds.All() {
				names = append(names, jobOf(number))
			}
			for _, number := range st.shelves.orders.All() {
				names = append(names, orderName(number))
			}
			for _, number := range st.shelves.pages.All() {
				names = append(names, pageName(number))
			}
			for _, number := range st.shelves.returns.All() {
				names = append(names, returnName(number))
			}
			return names
		},
		RowsOf: func(_ *State, name string) []readmodel.Key {
			switch kind, _, _ := strings.Cut(name, "/"); kind {
			case "jobs":
				return []readmodel.Key{holdKey(name)}
			case "orders":
				return []readmodel.Key{orderKey(name)}
			case "returns":
				return []readmodel.Key{returnKey(name)}
			}
			var rows []readmodel.Key
			number := rest.Number(name)
			for n := (number-1)*pageSize + 1; n <= number*pageSize; n++ {
				rows = append(rows, movementKey(n))
			}
			return rows
		},
		Of: thingOf,
		Lists: func(_ *State, model, index, _ string) (string, bool) {
			return "", model == modelMovements || (model == modelOrders || model == modelReturns) && index != indexOpen || model == modelHolds && index != indexState(inventoryv1.HoldState_HOLD_STATE_SHORT)
		},
	}
}

// thingOf names what a row belongs to.
func thingOf(key readmodel.Key) string {
	switch key.Model {
	case modelHolds, modelOrders, modelReturns:
		return key.ID
	case modelMovements:
		if n := rest.Number("movement/" + key.ID); n > 0 {
			return pageName(pageOf(n))
		}
	}
	return ""
}
