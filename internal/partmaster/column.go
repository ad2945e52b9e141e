package partmaster

import (
	"fmt"
	"strconv"
	"strings"

	"ramprow/internal/money"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// column is one field of a part as text.
type column struct {
	name string
	get  func(*inventoryv1.Part) string
	// set reads a cell; nil: the column is for people and is not read. The currency
	// is that of the line.
	set func(p *inventoryv1.Part, cell, currency string) error
}

const (
	numberColumn   = "number"
	currencyColumn = "currency"
)

// columns are written in this order. The currency comes before the amounts.
func columns() []column {
	return []column{
		{numberColumn, (*inventoryv1.Part).GetNumber, text(func(p *inventoryv1.Part) *string { return &p.Number })},
		{"title", (*inventoryv1.Part).GetTitle, text(func(p *inventoryv1.Part) *string { return &p.Title })},
		{"unit", unitOf, setUnit},
		{currencyColumn, currencyOf, func(*inventoryv1.Part, string, string) error { return nil }},
		amount("price", func(p *inventoryv1.Part) **commonv1.Money { return &p.Price }),
		whole("price_quantity", func(p *inventoryv1.Part) *int64 { return &p.PriceQuantity }),
		amount("cost", func(p *inventoryv1.Part) **commonv1.Money { return &p.Cost }),
		amount("deposit", func(p *inventoryv1.Part) **commonv1.Money { return &p.Deposit }),
		{"supplier", (*inventoryv1.Part).GetSupplier, text(func(p *inventoryv1.Part) *string { return &p.Supplier })},
		{"lead_time_days", func(p *inventoryv1.Part) string { return strconv.FormatUint(uint64(p.GetLeadTimeDays()), 10) }, setLeadTime},
		whole("pack", func(p *inventoryv1.Part) *int64 { return &p.Pack }),
		whole("reorder_point", func(p *inventoryv1.Part) *int64 { return &p.ReorderPoint }),
		whole("order_up_to", func(p *inventoryv1.Part) *int64 { return &p.OrderUpTo }),
		{"supersedes", (*inventoryv1.Part).GetSupersedes, text(func(p *inventoryv1.Part) *string { return &p.Supersedes })},
		{"alternatives", func(p *inventoryv1.Part) string { return strings.Join(p.GetAlternatives(), " ") }, setAlternatives},
		flag("used_once", func(p *inventoryv1.Part) *bool { return &p.UsedOnce }),
		flag("hazardous", func(p *inventoryv1.Part) *bool { return &p.Hazardous }),
		flag("refrigerant", func(p *inventoryv1.Part) *bool { return &p.Refrigerant }),
		{"bin", (*inventoryv1.Part).GetBin, text(func(p *inventoryv1.Part) *string { return &p.Bin })},
		{"barcode", (*inventoryv1.Part).GetBarcode, setBarcode},
		{"on_hand", func(p *inventoryv1.Part) string { return strconv.FormatInt(p.GetOnHand(), 10) }, nil},
		{"available", func(p *inventoryv1.Part) string { return strconv.FormatInt(p.GetAvailable(), 10) }, nil},
		{"on_order", func(p *inventoryv1.Part) string { return strconv.FormatInt(p.GetOnOrder(), 10) }, nil},
	}
}

func text(field func(*inventoryv1.Part) *string) func(*inventoryv1.Part, string, string) error {
	return func(p *inventoryv1.Part, cell, _ string) error {
		*field(p) = cell
		return nil
	}
}

func whole(name string, field func(*inventoryv1.Part) *int64) column {
	return column{
		name: name,
		get:  func(p *inventoryv1.Part) string { return strconv.FormatInt(*field(p), 10) },
		set: func(p *inventoryv1.Part, cell, _ string) (err error) {
			*field(p), err = wholeNumber(cell)
			return err
		},
	}
}

// wholeNumber refuses a fraction: a quantity counts the smallest unit.
func wholeNumber(cell string) (int64, error) {
	if cell == "" {
		return 0, nil
	}
	n, err := strconv.ParseInt(cell, 10, 64)
	if err != nil {
		return 0, fmt.Errorf("%q is no whole number; write pieces, ml, g or mm without decimals", cell)
	}
	if n < 0 {
		return 0, fmt.Errorf("%s is negative; write 0 or more", cell)
	}
	return n, nil
}

// amount is money in the line's currency; one in another currency names it, as in 12.50 USD.
func amount(name string, field func(*inventoryv1.Part) **commonv1.Money) column {
	return column{
		name: name,
		get: func(p *inventoryv1.Part) string {
			m := *field(p)
			if m.GetCurrencyCode() == "" {
				return ""
			}
			written := money.Format(m.GetMinorUnits(), money.Digits(m.GetCurrencyCode()))
			if m.GetCurrencyCode() != currencyOf(p) {
				written += " " + m.GetCurrencyCode()
			}
			return written
		},
		set: func(p *inventoryv1.Part, cell, currency string) error {
			if cell == "" {
				*field(p) = nil
				return nil
			}
			figure, own, named := strings.Cut(cell, " ")
			if named {
				currency = own
			}
			if !isCurrency(currency) {
				return fmt.Errorf("%s has no currency; fill the column %s with three letters, as in EUR", cell, currencyColumn)
			}
			units, err := money.Parse(figure, currency)
			*field(p) = &commonv1.Money{MinorUnits: units, CurrencyCode: currency}
			return err
		},
	}
}

func flag(name string, field func(*inventoryv1.Part) *bool) column {
	return column{
		name: name,
		get: func(p *inventoryv1.Part) string {
			if *field(p) {
				return "yes"
			}
			return "no"
		},
		set: func(p *inventoryv1.Part, cell, _ string) error {
			switch strings.ToLower(cell) {
			case "yes", "y", "true", "1":
				*field(p) = true
			case "no", "n", "false", "0", "":
				*field(p) = false
			default:
				return fmt.Errorf("%q is neither yes nor no", cell)
			}
			return nil
		},
	}
}

const unitPrefix = "UNIT_"

func unitOf(p *inventoryv1.Part) string {
	return strings.ToLower(strings.TrimPrefix(p.GetUnit().String(), unitPrefix))
}

func setUnit(p *inventoryv1.Part, cell, _ string) error {
	u, known := commonv1.Unit_value[unitPrefix+strings.ToUpper(cell)]
	if !known || u == 0 {
		return fmt.Errorf("%q is no unit; use piece, millilitre, gram or millimetre", cell)
	}
	p.Unit = commonv1.Unit(u)
	return nil
}

// currencyOf is the currency of the first amount that a part has.
func currencyOf(p *inventoryv1.Part) string {
	for _, m := range []*commonv1.Money{p.GetPrice(), p.GetCost(), p.GetDeposit()} {
		if m.GetCurrencyCode() != "" {
			return m.GetCurrencyCode()
		}
	}
	return ""
}

func setLeadTime(p *inventoryv1.Part, cell, _ string) error {
	n, err := wholeNumber(cell)
	if err == nil && n > 730 {
		err = fmt.Errorf("%s days are more than two years", cell)
	}
	if err != nil {
		return err
	}
	p.LeadTimeDays = uint32(n) //nolint:gosec // between 0 and 730
	return nil
}

func setAlternatives(p *inventoryv1.Part, cell, _ string) error {
	p.Alternatives = strings.Fields(cell)
	return nil
}

func setBarcode(p *inventoryv1.Part, cell, _ string) error {
	p.Barcode = cell
	if cell == "" {
		return nil
	}
	_, err := Code(cell)
	return err
}
