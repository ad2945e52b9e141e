package en16931

import (
	"cmp"
	"slices"

	"github.com/shopspring/decimal"
)

// Amount gives the net amount of a line (BT-131): quantity times price over
// base quantity, rounded by itself, then less allowances, plus charges.
func (l *Line) Amount() decimal.Decimal {
	per := num(l.Price.Per)
	if per.Sign() <= 0 {
		per = decimal.New(1, 0)
	}
	return product(num(l.Quantity), val(l.Price.Net), per).Add(sum(l.AllowancesAndCharges))
}

// sum is charges less allowances.
func sum(list []AllowanceCharge) decimal.Decimal {
	var s decimal.Decimal
	for _, a := range list {
		s = s.Add(a.signed())
	}
	return s
}

func (a *AllowanceCharge) signed() decimal.Decimal {
	if a.Charge {
		return val(a.Amount)
	}
	return val(a.Amount).Neg()
}

// Options are what Complete needs beyond the invoice.
type Options struct {
	// Prepaid was paid before (BT-113); zero leaves it out.
	Prepaid decimal.Decimal
	// CashUnit is the smallest sum that can be paid, as 0.05; zero rounds nothing.
	CashUnit decimal.Decimal
	// KeepNets leaves the lines' net amounts as they are, where they come from a
	// price that was agreed as a whole; Peppol lets a line be off by two cents (R120).
	KeepNets bool
	// Reasons give why no tax is charged, by category code.
	Reasons map[string]Reason
}

// Reason says why a category bears no tax: words, and a code of the VATEX list.
type Reason struct {
	Text string `json:"text,omitzero"`
	Code string `json:"code,omitzero"`
}

// Complete computes the lines' amounts, the tax breakdown and every total from
// quantities, prices, allowances and charges. It replaces what is there, but
// keeps a tax total in the accounting currency.
func (i *Invoice) Complete(o Options) {
	var lines decimal.Decimal
	for n := range i.Lines {
		if !o.KeepNets || i.Lines[n].Net == nil {
			i.Lines[n].Net = New(i.Lines[n].Amount(), i.Currency)
		}
		lines = lines.Add(i.Lines[n].Net.Value)
	}
	i.Totals = Totals{Lines: New(lines, i.Currency)}
	net := lines
	for _, a := range i.AllowancesAndCharges {
		net = net.Add(a.signed())
		kind := &i.Totals.Allowances
		if a.Charge {
			kind = &i.Totals.Charges
		}
		*kind = New(val(*kind).Add(val(a.Amount)), i.Currency)
	}
	i.Totals.Net = New(net, i.Currency)
	tax := i.completeTax(o.Reasons)
	gross := net.Add(tax)
	i.Totals.Gross = New(gross, i.Currency)
	payable := gross.Sub(o.Prepaid)
	if o.Prepaid.Sign() != 0 {
		i.Totals.Prepaid = New(o.Prepaid, i.Currency)
	}
	if o.CashUnit.Sign() > 0 {
		if rounding := RoundTo(payable, o.CashUnit).Sub(payable); rounding.Sign() != 0 {
			i.Totals.Rounding = New(rounding, i.Currency)
			payable = payable.Add(rounding)
		}
	}
	i.Totals.Payable = New(payable, i.Currency)
}

// completeTax computes the breakdown and gives the tax of the whole.
func (i *Invoice) completeTax(reasons map[string]Reason) decimal.Decimal {
	groups := i.groups()
	var tax decimal.Decimal
	total := TaxTotal{}
	for _, g := range groups {
		amount := percentOf(g.taxable, g.rate)
		tax = tax.Add(amount)
		b := Breakdown{Taxable: New(g.taxable, i.Currency), Tax: New(amount, i.Currency), Category: Category{Code: g.code}}
		if family(g.code).rate != rateAbsent {
			b.Category.Rate = Number(g.rate)
		}
		if family(g.code).reason == reasonRequired {
			b.ExemptionReason, b.ExemptionReasonCode = reasons[g.code].Text, reasons[g.code].Code
		}
		total.Breakdown = append(total.Breakdown, b)
	}
	total.Amount = New(tax, i.Currency)
	others := slices.DeleteFunc(slices.Clone(i.TaxTotals), func(t TaxTotal) bool { return t.Amount == nil || t.Amount.Currency == i.Currency })
	i.TaxTotals = append([]TaxTotal{total}, others...)
	return tax
}

// group is what falls under one category and rate.
type group struct {
	code    string
	rate    decimal.Decimal
	taxable decimal.Decimal
}

// groups sums lines, allowances and charges by category and rate, in the order
// of the code, then of the rate.
func (i *Invoice) groups() []group {
	var list []group
	add := func(c Category, amount decimal.Decimal) {
		for n := range list {
			if list[n].code == c.Code && list[n].rate.Equal(num(c.Rate)) {
				list[n].taxable = list[n].taxable.Add(amount)
				return
			}
		}
		list = append(list, group{code: c.Code, rate: num(c.Rate), taxable: amount})
	}
	for _, l := range i.Lines {
		add(l.Tax, val(l.Net))
	}
	for _, a := range i.AllowancesAndCharges {
		if a.Tax != nil {
			add(*a.Tax, a.signed())
		}
	}
	slices.SortFunc(list, func(a, b group) int { return cmp.Or(cmp.Compare(a.code, b.code), a.rate.Cmp(b.rate)) })
	return list
}

// Percentage gives an allowance or charge of a part of a base, rounded to cents.
func Percentage(charge bool, base *Money, percent decimal.Decimal) AllowanceCharge {
	return AllowanceCharge{
		Charge: charge, Base: base, Percent: Number(percent),
		Amount: New(percentOf(base.Value, percent), base.Currency),
	}
}
