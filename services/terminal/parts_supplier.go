package terminal

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"ramprow/internal/partmaster"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

func partsSuppliers(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "suppliers",
		Short:   "List suppliers with their terms and how reliably they deliver",
		Example: "  ramprow parts suppliers",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			r, err := s.Buying.ListSuppliers(ctx, &inventoryv1.ListSuppliersRequest{})
			if err != nil {
				return err
			}
			amount := func(units func(*inventoryv1.Supplier) int64) func(*inventoryv1.ListedSupplier) string {
				return func(l *inventoryv1.ListedSupplier) string {
					if units(l.GetSupplier()) == 0 {
						return ""
					}
					return money(&commonv1.Money{MinorUnits: units(l.GetSupplier()), CurrencyCode: l.GetSupplier().GetCurrencyCode()})
				}
			}
			return showList(s, r.GetSuppliers(), "No supplier yet. Set one: ramprow parts supplier northvale --currency EUR", []column[*inventoryv1.ListedSupplier]{
				left("SUPPLIER", func(l *inventoryv1.ListedSupplier) string { return l.GetSupplier().GetId() }),
				left("NAME", func(l *inventoryv1.ListedSupplier) string { return l.GetSupplier().GetTitle() }),
				figure("OFFERS", func(l *inventoryv1.ListedSupplier) string { return figures(int64(l.GetOffers())) }),
				figure("SMALLEST ORDER", amount((*inventoryv1.Supplier).GetMinimumMinorUnits)),
				figure("CARRIAGE", amount((*inventoryv1.Supplier).GetCarriageMinorUnits)),
				figure("FREE FROM", amount((*inventoryv1.Supplier).GetCarriageFreeMinorUnits)),
				left("DELIVERIES", reliabilityOf),
			})
		}),
	}
}

func reliabilityOf(l *inventoryv1.ListedSupplier) string {
	r := l.GetReliability()
	if r == nil {
		return "none known"
	}
	return fmt.Sprintf("%d of %d on time, half by %+d days, 8 of 10 by %+d", r.GetOnTime(), r.GetDeliveries(), r.GetP50Days(), r.GetP80Days())
}

// supplierChange is what the flags of `parts supplier` fill; only flags that were given count.
type supplierChange struct{ title, currency, minimum, carriage, free, line string }

func partsSupplier(o *options) *cobra.Command {
	in := &supplierChange{}
	command := &cobra.Command{
		Use:     "supplier SUPPLIER",
		Short:   "Keep a supplier's terms; flags that are left out stay as they are",
		Example: "  ramprow parts supplier northvale --currency EUR --minimum-order 50 --carriage 5.90 --carriage-free-from 150",
	}
	command.RunE = o.run(func(ctx context.Context, s *session, args []string) error {
		listed, err := s.Buying.ListSuppliers(ctx, &inventoryv1.ListSuppliersRequest{})
		if err != nil {
			return err
		}
		terms := &inventoryv1.Supplier{Id: args[0]}
		for _, l := range listed.GetSuppliers() {
			if l.GetSupplier().GetId() == args[0] {
				terms = l.GetSupplier()
			}
		}
		if err := in.apply(terms, command.Flags().Changed); err != nil {
			return err
		}
		r, err := s.Buying.SetSupplier(ctx, &inventoryv1.SetSupplierRequest{RequestId: s.once(), Supplier: terms})
		if err != nil {
			return err
		}
		return s.answer(r, r.GetSupplier().GetId()+": kept"+repeated(r.GetReceipt()),
			nextLine("ramprow parts offer "+args[0]+" PART PRICE, or ramprow parts import-offers FILE"))
	})
	flags := command.Flags()
	flags.StringVar(&in.title, "title", "", "its name")
	flags.StringVar(&in.currency, "currency", "", "currency of its prices, as in EUR")
	flags.StringVar(&in.minimum, "minimum-order", "", "goods that an order must come to")
	flags.StringVar(&in.carriage, "carriage", "", "what bringing an order costs")
	flags.StringVar(&in.free, "carriage-free-from", "", "goods from which it is free")
	flags.StringVar(&in.line, "line-cost", "", "what ordering and taking in a line costs the workshop; with it the cheapest lot is computed")
	return command
}

func (in *supplierChange) apply(terms *inventoryv1.Supplier, given func(string) bool) error {
	if given("title") {
		terms.Title = in.title
	}
	if given("currency") {
		terms.CurrencyCode = in.currency
	}
	for flag, of := range map[string]struct {
		text string
		to   *int64
	}{
		"minimum-order": {in.minimum, &terms.MinimumMinorUnits}, "carriage": {in.carriage, &terms.CarriageMinorUnits},
		"carriage-free-from": {in.free, &terms.CarriageFreeMinorUnits}, "line-cost": {in.line, &terms.LineCostMinorUnits},
	} {
		if !given(flag) {
			continue
		}
		m, err := parseMoney(of.text, terms.GetCurrencyCode())
		if err != nil {
			return fmt.Errorf("--%s: %w", flag, err)
		}
		*of.to = m.GetMinorUnits()
	}
	return nil
}

func partsOffers(o *options) *cobra.Command {
	var supplier, part string
	var limit int
	command := &cobra.Command{
		Use:     "offers",
		Short:   "List what suppliers ask for parts",
		Example: "  ramprow parts offers --part MO-4212\n  ramprow parts offers --supplier northvale",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			rows, err := collect(s, limit, func(size int32, token string) ([]*inventoryv1.Offer, string, error) {
				r, err := s.Buying.ListOffers(ctx, &inventoryv1.ListOffersRequest{Supplier: supplier, Part: part, PageSize: size, PageToken: token})
				return r.GetOffers(), r.GetNextPageToken(), err
			})
			if err != nil {
				return err
			}
			currencies, err := currenciesOf(ctx, s)
			if err != nil {
				return err
			}
			return showList(s, rows, "No offer here. Keep one: ramprow parts offer SUPPLIER PART PRICE", []column[*inventoryv1.Offer]{
				left("PART", (*inventoryv1.Offer).GetPart),
				left("SUPPLIER", (*inventoryv1.Offer).GetSupplier),
				figure("DAYS", func(f *inventoryv1.Offer) string { return figures(f.GetLeadTimeDays()) }),
				figure("PACK", func(f *inventoryv1.Offer) string { return figures(max(1, f.GetPack())) }),
				figure("FROM", func(f *inventoryv1.Offer) string { return figures(max(1, f.GetMinimum())) }),
				left("PRICES", func(f *inventoryv1.Offer) string { return pricesOf(f, currencies[f.GetSupplier()]) }),
			})
		}),
	}
	command.Flags().StringVar(&supplier, "supplier", "", "only this supplier's")
	command.Flags().StringVar(&part, "part", "", "only for this part")
	limitFlag(command, &limit)
	return command
}

func currenciesOf(ctx context.Context, s *session) (map[string]string, error) {
	r, err := s.Buying.ListSuppliers(ctx, &inventoryv1.ListSuppliersRequest{})
	currencies := map[string]string{}
	for _, l := range r.GetSuppliers() {
		currencies[l.GetSupplier().GetId()] = l.GetSupplier().GetCurrencyCode()
	}
	return currencies, err
}

func pricesOf(f *inventoryv1.Offer, currency string) string {
	var texts []string
	for _, p := range f.GetPrices() {
		text := money(&commonv1.Money{MinorUnits: p.GetMinorUnits(), CurrencyCode: currency})
		if p.GetQuantity() > 0 {
			text += fmt.Sprintf(" from %d", p.GetQuantity())
		}
		texts = append(texts, text)
	}
	per := ""
	if f.GetPriceQuantity() > 1 {
		per = fmt.Sprintf(" for %d", f.GetPriceQuantity())
	}
	return strings.Join(texts, ", ") + per
}

func partsOffer(o *options) *cobra.Command {
	offer := &inventoryv1.Offer{}
	var end bool
	command := &cobra.Command{
		Use:   "offer SUPPLIER PART [PRICE|FROM:PRICE]…",
		Short: "Keep what a supplier asks for a part, the whole of it each time",
		Long:  "The first price is for any quantity; a price with a quantity before it holds from that on, for all of them.",
		Example: "  ramprow parts offer northvale MO-4212 7.80 40:7.10 --pack 4 --lead-time-days 2\n" +
			"  ramprow parts offer northvale MO-4212 --end",
		Args: cobra.MinimumNArgs(2),
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			if end == (len(args) > 2) {
				return errors.New("give a price, or --end to end the offer")
			}
			currencies, err := currenciesOf(ctx, s)
			if err != nil {
				return err
			}
			offer.Supplier, offer.Part = args[0], args[1]
			for _, text := range args[2:] {
				p, err := parsePriceFrom(text, currencies[args[0]])
				if err != nil {
					return err
				}
				offer.Prices = append(offer.Prices, p)
			}
			r, err := s.Buying.SetOffer(ctx, &inventoryv1.SetOfferRequest{RequestId: s.once(), Offer: offer})
			if err != nil {
				return err
			}
			told := "kept"
			if end {
				told = "ended"
			}
			return s.answer(r, fmt.Sprintf("%s from %s: %s%s", args[1], args[0], told, repeated(r.GetReceipt())))
		}),
	}
	flags := command.Flags()
	flags.Int64Var(&offer.Pack, "pack", 0, "units in a pack")
	flags.Int64Var(&offer.Minimum, "minimum", 0, "units in the smallest order of it")
	flags.Uint32Var(&offer.LeadTimeDays, "lead-time-days", 0, "days from order to shelf")
	flags.Int64Var(&offer.PriceQuantity, "per", 0, "units that each price is for")
	flags.BoolVar(&end, "end", false, "it is not offered any more")
	return command
}

// parsePriceFrom reads 7.80, or 40:7.10 for what holds from 40 on.
func parsePriceFrom(text, currency string) (*inventoryv1.PriceFrom, error) {
	from, figure, both := strings.Cut(text, ":")
	p := &inventoryv1.PriceFrom{}
	if !both {
		figure = text
	} else {
		n, err := strconv.ParseInt(from, 10, 64)
		if err != nil || n < 1 {
			return nil, fmt.Errorf("%q is no price; write 7.80, or 40:7.10 from 40 on", text)
		}
		p.Quantity = n
	}
	m, err := parseMoney(figure, currency)
	if err != nil {
		return nil, err
	}
	p.MinorUnits = m.GetMinorUnits()
	return p, nil
}

func partsImportOffers(o *options) *cobra.Command {
	var dry bool
	command := &cobra.Command{
		Use:   "import-offers FILE",
		Short: "Take over suppliers and their offers from a CSV file: all of it or, with any mistake, nothing",
		Long: "The first line names the columns, as 'ramprow parts export-offers' writes them. A line without a\n" +
			"part holds a supplier's terms; the lines of one supplier and part hold its prices.",
		Example: "  ramprow parts import-offers offers.csv --dry-run\n  ramprow parts import-offers offers.csv",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			text, err := os.ReadFile(args[0])
			if err != nil {
				return fmt.Errorf("read the offers: %w", err)
			}
			trial, err := s.Buying.ImportOffers(ctx, &inventoryv1.ImportOffersRequest{RequestId: s.once(), Csv: text, DryRun: true})
			if err != nil {
				return err
			}
			if len(trial.GetMistakes()) > 0 {
				return s.tellMistakes(args[0], trial)
			}
			told := func(verb string, r *inventoryv1.ImportOffersResponse) string {
				return fmt.Sprintf("%s and %s %s taken over, %d as they were",
					plural(int(r.GetSuppliers()), "supplier"), plural(int(r.GetOffers()), "offer"), verb, r.GetUnchanged())
			}
			if dry {
				return s.answer(trial, args[0]+": no mistake; "+told("would be", trial))
			}
			r, err := s.Buying.ImportOffers(ctx, &inventoryv1.ImportOffersRequest{RequestId: s.once(), Csv: text})
			if err != nil {
				return err
			}
			return s.answer(r, told("are", r)+repeated(r.GetReceipt()))
		}),
	}
	command.Flags().BoolVar(&dry, "dry-run", false, "tell what it would do and every mistake, and change nothing")
	return command
}

func partsExportOffers(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "export-offers",
		Short:   "Write suppliers and their offers as CSV, to be looked at or imported again",
		Example: "  ramprow parts export-offers > offers.csv",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			listed, err := s.Buying.ListSuppliers(ctx, &inventoryv1.ListSuppliersRequest{})
			if err != nil {
				return err
			}
			var suppliers []*inventoryv1.Supplier
			for _, l := range listed.GetSuppliers() {
				suppliers = append(suppliers, l.GetSupplier())
			}
			var offers []*inventoryv1.Offer
			for token := ""; ; {
				r, err := s.Buying.ListOffers(ctx, &inventoryv1.ListOffersRequest{PageSize: 500, PageToken: token})
				if err != nil {
					return err
				}
				offers = append(offers, r.GetOffers()...)
				if token = r.GetNextPageToken(); token == "" {
					break
				}
			}
			return partmaster.WriteOffers(s.out, suppliers, offers)
		}),
	}
}
