package partmaster

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"ramprow/internal/money"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// Terms is what a line of a suppliers' file says: a supplier's terms, or an offer
// with all prices of the lines that belong to it. One of the two is set.
type Terms struct {
	Line     int
	Supplier *inventoryv1.Supplier
	Offer    *inventoryv1.Offer
}

const (
	supplierColumn = "supplier"
	partColumn     = "part"
	fromColumn     = "from"
	priceColumn    = "price"
)

// termsColumns are filled on lines without a part, and offerColumns on lines with
// one; a line that follows with the same part needs the quantity and the price alone.
func termsColumns() []string {
	return []string{"title", currencyColumn, "minimum_order", "carriage", "carriage_free_from", "line_cost"}
}

func offerColumns() []string {
	return []string{"pack", "minimum", "lead_time_days", "per", fromColumn, priceColumn}
}

func allTermsColumns() []string {
	return slices.Concat([]string{supplierColumn, partColumn}, termsColumns(), offerColumns())
}

// ReadOffers takes a suppliers' file apart. The currency of a supplier that the
// file gives no terms of comes from known. All mistakes are told.
func ReadOffers(text string, known func(supplier string) *inventoryv1.Supplier) ([]Terms, []Mistake) {
	rows, mistakes := readTable(text, allTermsColumns(), supplierColumn)
	r := &offersReader{known: known, own: map[string]*inventoryv1.Supplier{}, at: map[string]int{}, mistakes: mistakes}
	for _, row := range rows {
		if row.cells[partColumn] == "" {
			r.terms(row)
		}
	}
	for _, row := range rows {
		if row.cells[partColumn] != "" {
			r.offer(row)
		}
	}
	for _, t := range r.all {
		r.rule(t)
	}
	slices.SortStableFunc(r.mistakes, func(a, b Mistake) int { return a.Line - b.Line })
	return r.all, r.mistakes
}

type offersReader struct {
	known    func(string) *inventoryv1.Supplier
	own      map[string]*inventoryv1.Supplier
	all      []Terms
	at       map[string]int // of an offer in all
	mistakes []Mistake
}

func (r *offersReader) wrong(row Row, column, format string, args ...any) {
	r.mistakes = append(r.mistakes, Mistake{row.Line, column, fmt.Sprintf(format, args...)})
}

// misplaced tells of cells that this kind of line does not have.
func (r *offersReader) misplaced(row Row, columns []string, why string) {
	for _, c := range columns {
		if row.cells[c] != "" {
			r.wrong(row, c, "%s", why)
		}
	}
}

func (r *offersReader) terms(row Row) {
	id := row.cells[supplierColumn]
	if r.own[id] != nil {
		r.wrong(row, supplierColumn, "the terms of %s stand on another line already", id)
		return
	}
	s := &inventoryv1.Supplier{Id: id, Title: row.cells["title"], CurrencyCode: row.cells[currencyColumn]}
	r.misplaced(row, offerColumns(), "belongs to a line with a part")
	for name, field := range map[string]*int64{
		"minimum_order": &s.MinimumMinorUnits, "carriage": &s.CarriageMinorUnits,
		"carriage_free_from": &s.CarriageFreeMinorUnits, "line_cost": &s.LineCostMinorUnits,
	} {
		*field = r.amount(row, name, s.GetCurrencyCode())
	}
	r.own[id] = s
	r.all = append(r.all, Terms{Line: row.Line, Supplier: s})
}

func (r *offersReader) amount(row Row, name, currency string) int64 {
	if row.cells[name] == "" {
		return 0
	}
	units, err := money.Parse(row.cells[name], currency)
	if err != nil {
		r.wrong(row, name, "%v", err)
	}
	return units
}

func (r *offersReader) whole(row Row, name string) int64 {
	n, err := wholeNumber(row.cells[name])
	if err != nil {
		r.wrong(row, name, "%v", err)
	}
	return n
}

func (r *offersReader) offer(row Row) {
	supplier := r.own[row.cells[supplierColumn]]
	if supplier == nil {
		supplier = r.known(row.cells[supplierColumn])
	}
	if supplier == nil {
		r.wrong(row, supplierColumn, "nothing is known of %s; put a line with its currency and no part before", row.cells[supplierColumn])
		return
	}
	r.misplaced(row, termsColumns(), "belongs to a line without a part")
	key := row.cells[supplierColumn] + " " + row.cells[partColumn]
	i, follows := r.at[key]
	if !follows {
		i = len(r.all)
		r.at[key] = i
		r.all = append(r.all, Terms{Line: row.Line, Offer: r.newOffer(row)})
	} else {
		r.misplaced(row, offerColumns()[:4], "stands with the first price of this part already")
	}
	if row.cells[priceColumn] == "" {
		r.wrong(row, priceColumn, "an offer needs a price")
		return
	}
	o := r.all[i].Offer
	o.Prices = append(o.Prices, &inventoryv1.PriceFrom{
		Quantity: r.whole(row, fromColumn), MinorUnits: r.amount(row, priceColumn, supplier.GetCurrencyCode()),
	})
}

func (r *offersReader) newOffer(row Row) *inventoryv1.Offer {
	o := &inventoryv1.Offer{
		Supplier: row.cells[supplierColumn], Part: row.cells[partColumn],
		Pack: r.whole(row, "pack"), Minimum: r.whole(row, "minimum"), PriceQuantity: r.whole(row, "per"),
	}
	days := r.whole(row, "lead_time_days")
	o.LeadTimeDays = uint32(min(days, 1<<16)) //nolint:gosec // the rules refuse more than two years
	return o
}

// rule tells what the rules of the interface have against a line.
func (r *offersReader) rule(t Terms) {
	var m proto.Message = t.Supplier
	if t.Offer != nil {
		m = t.Offer
	}
	broken, is := errors.AsType[*protovalidate.ValidationError](protovalidate.Validate(m))
	if !is {
		return
	}
	for _, v := range broken.Violations {
		r.mistakes = append(r.mistakes, Mistake{t.Line, columnOf(v.FieldDescriptor), v.Proto.GetMessage()})
	}
}

// columnOf is the column that a field is written in.
func columnOf(f protoreflect.FieldDescriptor) string {
	if f == nil {
		return ""
	}
	switch name := string(f.Name()); name {
	case "id":
		return supplierColumn
	case "minimum_minor_units":
		return "minimum_order"
	case "carriage_free_minor_units":
		return "carriage_free_from"
	case "minor_units":
		return priceColumn
	case "quantity":
		return fromColumn
	case "price_quantity":
		return "per"
	case "currency_code":
		return currencyColumn
	default:
		return strings.TrimSuffix(name, "_minor_units")
	}
}

// WriteOffers gives suppliers and their offers as a file that ReadOffers takes.
func WriteOffers(w io.Writer, suppliers []*inventoryv1.Supplier, offers []*inventoryv1.Offer) error {
	out := csv.NewWriter(w)
	if err := out.Write(allTermsColumns()); err != nil {
		return err
	}
	digits := map[string]int{}
	for _, s := range suppliers {
		if s.GetCurrencyCode() == "" {
			continue // nobody has set its terms
		}
		n := money.Digits(s.GetCurrencyCode())
		digits[s.GetId()] = n
		record := []string{
			s.GetId(), "", s.GetTitle(), s.GetCurrencyCode(), money.Format(s.GetMinimumMinorUnits(), n), money.Format(s.GetCarriageMinorUnits(), n),
			money.Format(s.GetCarriageFreeMinorUnits(), n), money.Format(s.GetLineCostMinorUnits(), n), "", "", "", "", "", "",
		}
		if err := out.Write(record); err != nil {
			return err
		}
	}
	for _, o := range offers {
		for i, p := range o.GetPrices() {
			record := slices.Concat([]string{o.GetSupplier(), o.GetPart()}, make([]string, len(termsColumns())), []string{"", "", "", ""},
				[]string{strconv.FormatInt(p.GetQuantity(), 10), money.Format(p.GetMinorUnits(), digits[o.GetSupplier()])})
			if i == 0 {
				record[8], record[9] = strconv.FormatInt(o.GetPack(), 10), strconv.FormatInt(o.GetMinimum(), 10)
				record[10], record[11] = strconv.FormatUint(uint64(o.GetLeadTimeDays()), 10), strconv.FormatInt(o.GetPriceQuantity(), 10)
			}
			if err := out.Write(record); err != nil {
				return err
			}
		}
	}
	out.Flush()
	return out.Error()
}
