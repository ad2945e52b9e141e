package inventory

import (
	"google.golang.org/protobuf/proto"

	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// listCatalogue lists the parts of a catalogue that are new here, and updates
// what the catalogue knows of the others.
func listCatalogue(st *State, m *jobv1.CatalogueImported) []proto.Message {
	var events []proto.Message
	currency := m.GetCatalogue().GetCurrencyCode()
	for _, from := range m.GetCatalogue().GetParts() {
		about := partFrom(from, currency)
		if p := st.parts[from.GetNumber()]; p != nil {
			about = updated(p.about, about)
			if proto.Equal(about, p.about) {
				continue
			}
		}
		events = append(events, &inventoryv1.PartListed{Part: about, Source: m.GetVersion()})
	}
	return events
}

func partFrom(from *cataloguev1.Part, currency string) *inventoryv1.Part {
	return &inventoryv1.Part{
		Name:          partName(from.GetNumber()),
		Number:        from.GetNumber(),
		Title:         from.GetTitle(),
		Unit:          from.GetUnit(),
		Price:         money(from.GetPriceMinorUnits(), currency),
		PriceQuantity: from.GetPriceQuantity(),
		Cost:          money(from.GetCostMinorUnits(), currency),
		Supplier:      from.GetSupplier(),
		LeadTimeDays:  from.GetLeadTimeDays(),
		Pack:          from.GetPack(),
		Supersedes:    from.GetSupersedes(),
		UsedOnce:      from.GetUsedOnce(),
		Deposit:       money(from.GetDepositMinorUnits(), currency),
		Hazardous:     from.GetHazardous(),
		Bin:           from.GetBin(),
	}
}

func money(minorUnits int64, currency string) *commonv1.Money {
	return &commonv1.Money{MinorUnits: minorUnits, CurrencyCode: currency}
}

// updated gives a known part what a newer catalogue says of it: names, prices
// and nature. Where it lies and how it is bought stays as the clerk set it. A
// part that the catalogue now counts in another unit is left alone as a whole,
// since its stock and prices are in the old one.
func updated(known, news *inventoryv1.Part) *inventoryv1.Part {
	about := proto.CloneOf(known)
	if known.GetUnit() != news.GetUnit() {
		return about
	}
	about.Title = news.GetTitle()
	about.Price = news.GetPrice()
	about.PriceQuantity = news.GetPriceQuantity()
	about.Cost = news.GetCost()
	about.Deposit = news.GetDeposit()
	about.UsedOnce = news.GetUsedOnce()
	about.Hazardous = news.GetHazardous()
	about.Supersedes = news.GetSupersedes()
	// A part that came in with a plan has nothing of its own yet.
	if known.GetSupplier() == "" {
		about.Supplier, about.LeadTimeDays, about.Pack = news.GetSupplier(), news.GetLeadTimeDays(), news.GetPack()
	}
	if known.GetBin() == "" {
		about.Bin = news.GetBin()
	}
	return about
}
