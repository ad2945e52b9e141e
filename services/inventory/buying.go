package inventory

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/engine/replenish"
	moneytext "ramprow/internal/money"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// source is one way to buy a part: a supplier's offer, or what the part master
// says of its usual supplier.
type source struct {
	offer    *inventoryv1.Offer
	currency string
	late     []int
}

// sources lists the ways to buy a part whose price is known, by supplier.
func (st *State) sources(number string, about *inventoryv1.Part) []source {
	var all []source
	own := false
	for _, o := range st.suppliers.offersOf(number) {
		own = own || o.GetSupplier() == about.GetSupplier()
		all = append(all, source{o, st.suppliers.terms[o.GetSupplier()].GetCurrencyCode(), st.suppliers.lateness(o.GetSupplier())})
	}
	if cost := about.GetCost(); !own && about.GetSupplier() != "" && cost.GetMinorUnits() > 0 {
		all = append(all, source{&inventoryv1.Offer{
			Supplier: about.GetSupplier(), Part: number, Pack: about.GetPack(), LeadTimeDays: about.GetLeadTimeDays(),
			PriceQuantity: about.GetPriceQuantity(), Prices: []*inventoryv1.PriceFrom{{MinorUnits: cost.GetMinorUnits()}},
		}, cost.GetCurrencyCode(), st.suppliers.lateness(about.GetSupplier())})
	}
	slices.SortStableFunc(all, func(a, b source) int { return strings.Compare(a.offer.GetSupplier(), b.offer.GetSupplier()) })
	return all
}

// usual is the source that a part's rules are computed for: the usual supplier's,
// else the one of the lowest price.
func usual(sources []source, about *inventoryv1.Part) *source {
	var best *source
	for i, s := range sources {
		if s.offer.GetSupplier() == about.GetSupplier() {
			return &sources[i]
		}
		if best == nil || unitPrice(s.offer) < unitPrice(best.offer) {
			best = &sources[i]
		}
	}
	return best
}

func unitPrice(o *inventoryv1.Offer) float64 {
	return float64(o.GetPrices()[0].GetMinorUnits()) / float64(max(1, o.GetPriceQuantity()))
}

// reaches is the day on which something ordered now from a source is expected.
func (s *source) reaches(now time.Time) time.Time {
	return now.AddDate(0, 0, int(s.offer.GetLeadTimeDays()))
}

// inTime keeps the sources that bring a part soon enough: by the turn of the first
// job that waits for it, and for stock within the usual lead time. If none does,
// the fastest have to do.
func (q *question) inTime(now time.Time, urgent bool) []source {
	fastest := uint32(math.MaxUint32)
	for _, s := range q.sources {
		fastest = min(fastest, s.offer.GetLeadTimeDays())
	}
	latest := now.AddDate(0, 0, int(fastest))
	if u := usual(q.sources, q.about); !urgent && u != nil && u.reaches(now).After(latest) {
		latest = u.reaches(now)
	}
	if urgent && q.needed.After(latest) {
		latest = q.needed
	}
	var soon []source
	for _, s := range q.sources {
		if !s.reaches(now).After(latest) {
			soon = append(soon, s)
		}
	}
	return soon
}

// wanting is a part to buy before anybody has chosen from whom.
type wanting struct {
	question *question
	buy      replenish.Buy
	sources  []source
}

// shopping is what to buy today, part by part and supplier by supplier.
type shopping struct {
	proposals []*inventoryv1.Proposal
	orders    []*inventoryv1.SupplierOrder
}

// shop says what to buy today, and from whom, so that goods and carriage together
// cost least.
func shop(questions []question, terms map[string]*inventoryv1.Supplier, now time.Time) (*shopping, error) {
	var all []proposal
	byCurrency := map[string][]wanting{}
	for i := range questions {
		q := &questions[i]
		buy, err := replenish.Propose(q.stock, q.rules)
		if err != nil {
			return nil, fmt.Errorf("propose %s: %w", q.about.GetNumber(), err)
		}
		if buy.Quantity == 0 {
			continue
		}
		w := wanting{q, buy, q.inTime(now, buy.Urgent)}
		if len(w.sources) == 0 {
			all = append(all, proposal{buy.Urgent, q.answer(buy, now)})
			continue
		}
		// Amounts in several currencies cannot be compared.
		currency := usual(w.sources, q.about).currency
		w.sources = slices.DeleteFunc(slices.Clone(w.sources), func(s source) bool { return s.currency != currency })
		byCurrency[currency] = append(byCurrency[currency], w)
	}
	for _, currency := range slices.Sorted(maps.Keys(byCurrency)) {
		chosen, err := choose(byCurrency[currency], currency, terms, now)
		if err != nil {
			return nil, err
		}
		all = append(all, chosen...)
	}
	slices.SortFunc(all, func(a, b proposal) int {
		if a.urgent != b.urgent {
			if a.urgent {
				return -1
			}
			return 1
		}
		return cmp.Or(strings.Compare(a.buy.GetSupplier(), b.buy.GetSupplier()), strings.Compare(a.buy.GetPart(), b.buy.GetPart()))
	})
	s := &shopping{proposals: make([]*inventoryv1.Proposal, 0, len(all))}
	for _, p := range all {
		s.proposals = append(s.proposals, p.buy)
	}
	s.orders = bySupplier(s.proposals)
	for _, o := range s.orders {
		note(o, terms[o.GetSupplier()])
	}
	return s, nil
}

// choose gives each part a supplier. Where a supplier's smallest order cannot be
// reached it is left aside, and told with the order.
func choose(wanted []wanting, currency string, terms map[string]*inventoryv1.Supplier, now time.Time) ([]proposal, error) {
	unit := math.Pow10(moneytext.Digits(currency))
	var suppliers []replenish.Supplier
	for _, id := range slices.Sorted(maps.Keys(terms)) {
		if t := terms[id]; t.GetCurrencyCode() == currency {
			suppliers = append(suppliers, replenish.Supplier{
				Name: id, Minimum: float64(t.GetMinimumMinorUnits()) / unit,
				Carriage: float64(t.GetCarriageMinorUnits()) / unit, CarriageFree: float64(t.GetCarriageFreeMinorUnits()) / unit,
			})
		}
	}
	slices.SortFunc(wanted, func(a, b wanting) int {
		return strings.Compare(a.question.about.GetNumber(), b.question.about.GetNumber())
	})
	wishes := make([]replenish.Wish, len(wanted))
	for i, w := range wanted {
		wishes[i] = replenish.Wish{Part: w.question.about.GetNumber(), Quantity: w.buy.Quantity, Offers: w.offers(unit)}
	}
	basket, possible, err := replenish.Consolidate(suppliers, wishes)
	if err == nil && !possible {
		for i := range suppliers {
			suppliers[i].Minimum = 0
		}
		basket, _, err = replenish.Consolidate(suppliers, wishes)
	}
	if err != nil {
		return nil, fmt.Errorf("choose suppliers: %w", err)
	}
	chosen := make([]proposal, len(wanted))
	for i, w := range wanted {
		chosen[i] = proposal{w.buy.Urgent, w.answer(basket.Lines[i], now)}
	}
	return chosen, nil
}

func (w wanting) offers(unit float64) []replenish.Offer {
	offers := make([]replenish.Offer, len(w.sources))
	for i, s := range w.sources {
		prices := breaksOf(s.offer, unit)
		offers[i] = replenish.Offer{
			Supplier: s.offer.GetSupplier(), Price: prices[0].Price, Breaks: prices[1:], Pack: s.offer.GetPack(), Minimum: s.offer.GetMinimum(),
		}
	}
	return offers
}

// breaksOf gives an offer's prices per unit of the part, in whole units of the currency.
func breaksOf(o *inventoryv1.Offer, unit float64) []replenish.Break {
	prices := make([]replenish.Break, len(o.GetPrices()))
	for i, p := range o.GetPrices() {
		prices[i] = replenish.Break{From: float64(p.GetQuantity()), Price: float64(p.GetMinorUnits()) / unit / float64(max(1, o.GetPriceQuantity()))}
	}
	return prices
}

// answer is the proposal to buy from the chosen source; its cost is exact.
func (w wanting) answer(line replenish.Placed, now time.Time) *inventoryv1.Proposal {
	at := slices.IndexFunc(w.sources, func(s source) bool { return s.offer.GetSupplier() == line.Supplier })
	chosen := w.sources[at]
	p := w.question.answer(w.buy, now)
	p.Supplier, p.Quantity = line.Supplier, line.Quantity
	p.Cost = money(priceOf(chosen.offer, line.Quantity), chosen.currency)
	p.ExpectedIfOrderedNow = timestamppb.New(chosen.reaches(now))
	p.P80IfOrderedNow = likelyFrom(chosen.late, chosen.reaches(now))
	if len(w.sources) > 1 {
		p.Reason += "; " + line.Reason
	} else if line.Quantity != w.buy.Quantity {
		p.Reason += fmt.Sprintf("; %d made %d by pack, minimum or a lower price", w.buy.Quantity, line.Quantity)
	}
	return p
}

// note tells what a supplier's terms mean for an order.
func note(o *inventoryv1.SupplierOrder, t *inventoryv1.Supplier) {
	if t == nil || o.GetCost().GetCurrencyCode() != t.GetCurrencyCode() {
		return
	}
	goods := o.GetCost().GetMinorUnits()
	text := func(minorUnits int64) string {
		return moneytext.Format(minorUnits, moneytext.Digits(t.GetCurrencyCode())) + " " + t.GetCurrencyCode()
	}
	if short := t.GetMinimumMinorUnits() - goods; short > 0 {
		advice := "nothing in it is urgent, so it can wait"
		if slices.ContainsFunc(o.GetLines(), (*inventoryv1.Proposal).GetUrgent) {
			advice = "add to it, since jobs wait for some of it"
		}
		o.Notes = append(o.Notes, fmt.Sprintf("%s below the smallest order of %s: %s", text(short), text(t.GetMinimumMinorUnits()), advice))
	}
	carriage := t.GetCarriageMinorUnits()
	if free := t.GetCarriageFreeMinorUnits(); free > 0 {
		if goods >= free {
			carriage = 0
		} else {
			o.Notes = append(o.Notes, fmt.Sprintf("%s more of goods would save the carriage of %s", text(free-goods), text(carriage)))
		}
	}
	o.Carriage = money(carriage, t.GetCurrencyCode())
}
