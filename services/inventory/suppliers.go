package inventory

import (
	"cmp"
	"maps"
	"slices"
	"time"

	"ramprow/internal/engine/replenish"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// suppliers are those whom parts are bought from: their terms, what they offer
// and how late they came.
type suppliers struct {
	terms  map[string]*inventoryv1.Supplier
	offers map[string]map[string]*inventoryv1.Offer // by part, then supplier
	late   map[string][]int                         // days of the newest deliveries, the oldest first
}

func newSuppliers() suppliers {
	return suppliers{
		terms:  map[string]*inventoryv1.Supplier{},
		offers: map[string]map[string]*inventoryv1.Offer{},
		late:   map[string][]int{},
	}
}

// The newest deliveries of a supplier tell how late it comes; fewer than some
// tell nothing. Common practice, no source.
const (
	deliveriesKept = 40
	deliveriesTell = 5
	mostSuppliers  = 1000
	mostOffers     = 20 // of one part
)

func (s *suppliers) set(offer *inventoryv1.Offer) {
	of := s.offers[offer.GetPart()]
	if len(offer.GetPrices()) == 0 {
		if delete(of, offer.GetSupplier()); len(of) == 0 {
			delete(s.offers, offer.GetPart())
		}
		return
	}
	if of == nil {
		of = map[string]*inventoryv1.Offer{}
		s.offers[offer.GetPart()] = of
	}
	of[offer.GetSupplier()] = offer
}

// arrived notes how late a delivery was, part by part, by the date that counted
// when it came. Times of a day make no difference.
func (s *suppliers) arrived(before *inventoryv1.Order, m *inventoryv1.GoodsReceived, at time.Time) {
	seen := map[string]bool{}
	for _, l := range m.GetLines() {
		expected := nextOf(before, l.GetPart())
		if seen[l.GetPart()] || expected.IsZero() {
			continue
		}
		seen[l.GetPart()] = true
		if len(s.late) == mostSuppliers && s.late[before.GetSupplier()] == nil {
			continue
		}
		days := append(s.late[before.GetSupplier()], dayNumber(at)-dayNumber(expected))
		s.late[before.GetSupplier()] = slices.Clone(days[max(0, len(days)-deliveriesKept):])
	}
}

// nextOf is the day on which an order was to bring the next pieces of a part; the
// zero time: it brings none.
func nextOf(o *inventoryv1.Order, number string) time.Time {
	var next time.Time
	for _, l := range o.GetLines() {
		if at := l.GetExpected(); at != nil && l.GetPart() == number && outstanding(o, l) > 0 && (next.IsZero() || at.AsTime().Before(next)) {
			next = at.AsTime()
		}
	}
	return next
}

// dayNumber counts days from the epoch, in UTC.
func dayNumber(t time.Time) int { return int(t.Unix() / int64(oneDay/time.Second)) }

// lateness is what is known of a supplier's deliveries; nil: too little. It is
// the state's own, which is never changed in place: readers keep it.
func (s *suppliers) lateness(supplier string) []int {
	late := s.late[supplier]
	if len(late) < deliveriesTell {
		return nil
	}
	return late
}

// reliability tells people of it; nil: nothing has arrived yet.
func (s *suppliers) reliability(supplier string) *inventoryv1.Reliability {
	late := slices.Sorted(slices.Values(s.late[supplier]))
	if len(late) == 0 {
		return nil
	}
	r := &inventoryv1.Reliability{Deliveries: int32(len(late))} //nolint:gosec // at most deliveriesKept
	for _, days := range late {
		if days <= 0 {
			r.OnTime++
		}
	}
	r.P50Days, r.P80Days = int32(late[(len(late)*5+9)/10-1]), int32(late[(len(late)*8+9)/10-1]) //nolint:gosec // days of some years
	return r
}

// knownSuppliers lists every supplier of whom anything is known, by id.
func (st *State) knownSuppliers() []*inventoryv1.ListedSupplier {
	all := map[string]*inventoryv1.ListedSupplier{}
	known := func(id string) *inventoryv1.ListedSupplier {
		if all[id] == nil {
			all[id] = &inventoryv1.ListedSupplier{Supplier: &inventoryv1.Supplier{Id: id}, Reliability: st.suppliers.reliability(id)}
		}
		return all[id]
	}
	for id, terms := range st.suppliers.terms {
		known(id).Supplier = terms
	}
	for id := range st.suppliers.late {
		known(id)
	}
	for _, of := range st.suppliers.offers {
		for id := range of {
			known(id).Offers++
		}
	}
	listed := make([]*inventoryv1.ListedSupplier, 0, len(all))
	for _, id := range slices.Sorted(maps.Keys(all)) {
		listed = append(listed, all[id])
	}
	return listed
}

// offersOf lists a part's offers, by supplier.
func (s *suppliers) offersOf(number string) []*inventoryv1.Offer {
	of := s.offers[number]
	listed := make([]*inventoryv1.Offer, 0, len(of))
	for _, id := range slices.Sorted(maps.Keys(of)) {
		listed = append(listed, of[id])
	}
	return listed
}

// list gives offers by part and supplier after a place in that order, so many at most.
func (s *suppliers) list(req *inventoryv1.ListOffersRequest, size int) (offers []*inventoryv1.Offer, more bool) {
	numbers := []string{req.GetPart()}
	if req.GetPart() == "" {
		numbers = slices.Sorted(maps.Keys(s.offers))
	}
	for _, number := range numbers {
		for _, o := range s.offersOf(number) {
			if req.GetSupplier() != "" && o.GetSupplier() != req.GetSupplier() || cmp.Compare(placeOf(o), req.GetPageToken()) <= 0 {
				continue
			}
			if len(offers) == size {
				return offers, true
			}
			offers = append(offers, o)
		}
	}
	return offers, false
}

// placeOf is an offer's place in lists: neither half can hold a blank.
func placeOf(o *inventoryv1.Offer) string { return o.GetPart() + " " + o.GetSupplier() }

// priceOf is an offer's price of a quantity, in minor units, rounded half up.
func priceOf(o *inventoryv1.Offer, quantity int64) int64 {
	price := int64(0)
	for _, p := range o.GetPrices() {
		if p.GetQuantity() <= quantity {
			price = p.GetMinorUnits()
		}
	}
	return replenish.ShareOf(price, quantity, max(1, o.GetPriceQuantity()))
}

func (s *suppliers) keep() keptSuppliers {
	k := keptSuppliers{Terms: maps.Clone(s.terms), Late: maps.Clone(s.late)}
	for _, number := range slices.Sorted(maps.Keys(s.offers)) {
		k.Offers = append(k.Offers, s.offersOf(number)...)
	}
	return k
}

func (k keptSuppliers) suppliers() suppliers {
	s := newSuppliers()
	maps.Copy(s.terms, k.Terms)
	maps.Copy(s.late, k.Late)
	for _, o := range k.Offers {
		s.set(o)
	}
	return s
}

// apart is the same to be changed on trial: its terms and offers are its own.
func (s *suppliers) apart() suppliers {
	trial := suppliers{terms: maps.Clone(s.terms), offers: make(map[string]map[string]*inventoryv1.Offer, len(s.offers)), late: s.late}
	for number, of := range s.offers {
		trial.offers[number] = maps.Clone(of)
	}
	return trial
}
