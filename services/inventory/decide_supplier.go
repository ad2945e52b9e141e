package inventory

import (
	"fmt"
	"slices"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/partmaster"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// setSupplier keeps a supplier's terms.
func setSupplier(st *State, _ sitelog.Input, req *inventoryv1.SetSupplierRequest) ([]proto.Message, *inventoryv1.SetSupplierResponse, error) {
	s := req.GetSupplier()
	if err := st.suppliers.checkTerms(s); err != nil {
		return nil, nil, err
	}
	resp := &inventoryv1.SetSupplierResponse{Supplier: s}
	if proto.Equal(st.suppliers.terms[s.GetId()], s) {
		return nil, resp, nil
	}
	return []proto.Message{&inventoryv1.SupplierSet{Supplier: s}}, resp, nil
}

// checkTerms holds a supplier to what is known of it.
func (s *suppliers) checkTerms(terms *inventoryv1.Supplier) error {
	known := s.terms[terms.GetId()]
	switch {
	case known == nil && len(s.terms) >= mostSuppliers:
		return fault.New(fault.Precondition, "TOO_MANY_SUPPLIERS", "there are %d suppliers already; use one of them", mostSuppliers).
			With("supplier", terms.GetId())
	case known != nil && known.GetCurrencyCode() != terms.GetCurrencyCode() && s.offering(terms.GetId()):
		return fault.New(fault.Precondition, "CURRENCY_IN_USE",
			"the offers of %s are in %s; end them first, or keep the currency", terms.GetId(), known.GetCurrencyCode()).
			With("supplier", terms.GetId()).WithField("supplier.currency_code", "%s is in use", known.GetCurrencyCode())
	case terms.GetCarriageFreeMinorUnits() > 0 && terms.GetCarriageMinorUnits() == 0:
		return fault.New(fault.Invalid, "TERMS_INVALID", "an order cannot come free of carriage that costs nothing; name the carriage, or leave its limit out").
			WithField("supplier.carriage_minor_units", "is 0")
	}
	return nil
}

// offering tells whether a supplier offers anything.
func (s *suppliers) offering(id string) bool {
	for _, of := range s.offers {
		if of[id] != nil {
			return true
		}
	}
	return false
}

// setOffer keeps what a supplier asks for a part.
func setOffer(st *State, _ sitelog.Input, req *inventoryv1.SetOfferRequest) ([]proto.Message, *inventoryv1.SetOfferResponse, error) {
	o := req.GetOffer()
	if err := st.checkOffer(o); err != nil {
		return nil, nil, err
	}
	resp := &inventoryv1.SetOfferResponse{Offer: o}
	known := st.suppliers.offers[o.GetPart()][o.GetSupplier()]
	if proto.Equal(known, o) || known == nil && len(o.GetPrices()) == 0 {
		return nil, resp, nil
	}
	return []proto.Message{&inventoryv1.OfferSet{Offer: o}}, resp, nil
}

// checkOffer holds an offer to the part, its supplier and itself.
func (st *State) checkOffer(o *inventoryv1.Offer) error {
	if st.parts[o.GetPart()] == nil {
		return noPart(o.GetPart())
	}
	if st.suppliers.terms[o.GetSupplier()] == nil {
		return fault.New(fault.NotFound, "SUPPLIER_NOT_FOUND",
			"nothing is known of %s; set its terms first, since prices are in its currency", o.GetSupplier()).
			With("supplier", o.GetSupplier())
	}
	of := st.suppliers.offers[o.GetPart()]
	if of[o.GetSupplier()] == nil && len(of) >= mostOffers && len(o.GetPrices()) > 0 {
		return fault.New(fault.Precondition, "TOO_MANY_OFFERS", "%d suppliers offer %s already; end an offer first", mostOffers, o.GetPart()).
			With("part", o.GetPart())
	}
	bad := fault.New(fault.Invalid, "OFFER_INVALID", "the offer cannot be kept like this; correct the named prices")
	for i, p := range o.GetPrices() {
		path := fmt.Sprintf("offer.prices[%d]", i)
		switch {
		case i == 0 && p.GetQuantity() > 0:
			bad.WithField(path+".quantity", "the first price is from 0 on; a smallest order is a minimum")
		case i > 0 && p.GetQuantity() <= o.GetPrices()[i-1].GetQuantity():
			bad.WithField(path+".quantity", "%d is not more than the quantity before", p.GetQuantity())
		case i > 0 && p.GetMinorUnits() >= o.GetPrices()[i-1].GetMinorUnits():
			bad.WithField(path+".minor_units", "the price does not fall; leave the line out")
		case p.GetMinorUnits() == 0:
			bad.WithField(path+".minor_units", "a price of nothing is none; leave all prices out to end the offer")
		}
	}
	if len(bad.Fields) > 0 {
		return bad
	}
	return nil
}

// importOffers takes over a suppliers' file: all of it or, with any mistake, nothing.
func importOffers(st *State, _ sitelog.Input, req *inventoryv1.ImportOffersRequest) ([]proto.Message, *inventoryv1.ImportOffersResponse, error) {
	lines, mistakes := partmaster.ReadOffers(string(req.GetCsv()), func(id string) *inventoryv1.Supplier { return st.suppliers.terms[id] })
	trial := *st
	trial.suppliers = st.suppliers.apart()
	resp := &inventoryv1.ImportOffersResponse{}
	var events []proto.Message
	for _, l := range lines {
		changed, err := trial.takeTerms(l)
		switch {
		case err != nil:
			mistakes = append(mistakes, mistakesOf(l.Line, err)...)
		case changed == nil:
			resp.Unchanged++
		case l.Supplier != nil:
			resp.Suppliers++
		default:
			resp.Offers++
		}
		if changed != nil {
			events = append(events, changed)
		}
	}
	if len(mistakes) > 0 && !req.GetDryRun() {
		return nil, nil, fileInvalid(mistakes)
	}
	if req.GetDryRun() {
		resp.Mistakes = tellMistakes(mistakes)
		return nil, resp, nil
	}
	return events, resp, nil
}

// takeTerms takes over one line on trial, and gives its event; nil: it is no news.
func (st *State) takeTerms(l partmaster.Terms) (proto.Message, error) {
	if s := l.Supplier; s != nil {
		if err := st.suppliers.checkTerms(s); err != nil || proto.Equal(st.suppliers.terms[s.GetId()], s) {
			return nil, err
		}
		st.suppliers.terms[s.GetId()] = s
		return &inventoryv1.SupplierSet{Supplier: s}, nil
	}
	known := st.suppliers.offers[l.Offer.GetPart()][l.Offer.GetSupplier()]
	if err := st.checkOffer(l.Offer); err != nil || proto.Equal(known, l.Offer) {
		return nil, err
	}
	st.suppliers.set(l.Offer)
	return &inventoryv1.OfferSet{Offer: l.Offer}, nil
}

// tellMistakes gives the mistakes of a dry run, by line.
func tellMistakes(mistakes []partmaster.Mistake) []*inventoryv1.ImportMistake {
	slices.SortStableFunc(mistakes, func(a, b partmaster.Mistake) int { return a.Line - b.Line })
	told := make([]*inventoryv1.ImportMistake, 0, min(len(mistakes), mistakesInDryRun))
	for _, m := range mistakes[:min(len(mistakes), mistakesInDryRun)] {
		told = append(told, &inventoryv1.ImportMistake{Line: int32(m.Line), Column: m.Column, Text: m.Text}) //nolint:gosec // a file has far fewer lines
	}
	return told
}
