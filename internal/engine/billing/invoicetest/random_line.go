package invoicetest

import (
	"strconv"

	"github.com/shopspring/decimal"
	"pgregory.net/rapid"

	"ramprow/internal/engine/billing/en16931"
)

func (g generator) line(n int, mix string) en16931.Line {
	unit := rapid.SampledFrom([]string{"MIN", "HUR", "H87", "C62", "MLT", "GRM", "MMT"}).Draw(g.t, "unit")
	l := en16931.Line{
		ID: strconv.Itoa(n + 1), Unit: unit, Tax: g.tax(mix),
		Quantity: en16931.Number(g.decimal("quantity", -1_000, 100_000, 3)),
		Price:    en16931.Price{Net: en16931.New(g.decimal("price", 0, 1_000_000, 4), Currency)},
		Item:     en16931.Item{Name: g.text("item")},
	}
	if g.may("base quantity") {
		l.Price.Per = en16931.Number(decimal.New(rapid.Int64Range(1, 1000).Draw(g.t, "per"), 0))
		l.Price.PerUnit = unit
	}
	if g.may("gross price") {
		discount := g.decimal("discount", 0, 1000, 2)
		l.Price.Discount = en16931.New(discount, Currency)
		l.Price.Gross = en16931.New(l.Price.Net.Value.Add(discount), Currency)
	}
	if g.may("line extras") {
		l.Note, l.OrderLine, l.AccountingReference = g.text("line note"), "1", g.text("line account")
		l.Period = &en16931.Period{Start: "2026-02-01", End: "2026-02-28"}
		l.Object = &en16931.Identifier{Value: g.text("line object"), Scheme: "ABT"}
	}
	if g.may("item extras") {
		l.Item.Description, l.Item.SellersID, l.Item.BuyersID = g.text("description"), "p-17", "b-17"
		l.Item.StandardID = &en16931.Identifier{Value: "04012345123456", Scheme: "0160"}
		l.Item.Classifications = []en16931.Classification{{Code: "9873242", List: "STI"}}
		l.Item.Origin = "AT"
		l.Item.Attributes = []en16931.Attribute{{Name: "used once", Value: "yes"}}
	}
	for range rapid.IntRange(0, 2).Draw(g.t, "line allowances") {
		l.AllowancesAndCharges = append(l.AllowancesAndCharges, g.allowance())
	}
	return l
}

// decimal draws a number with up to so many places.
func (g generator) decimal(what string, low, high int64, places int32) decimal.Decimal {
	return decimal.New(rapid.Int64Range(low, high).Draw(g.t, what), -rapid.Int32Range(0, places).Draw(g.t, what+" places"))
}

func (g generator) tax(mix string) en16931.Category {
	rates := map[string][]en16931.Category{
		"standard": {Rate("S", "20"), Rate("S", "10"), Rate("S", "5.5")},
		"mixed":    {Rate("S", "20"), Rate("S", "2.1"), Rate("Z", "0"), Rate("E", "0")},
		"AE":       {Rate("AE", "0")},
		"K":        {Rate("K", "0")},
		"G":        {Rate("G", "0")},
		"O":        {Rate("O", "")},
		"L":        {Rate("L", "7"), Rate("L", "0")},
		"M":        {Rate("M", "4")},
	}
	return rapid.SampledFrom(rates[mix]).Draw(g.t, "tax")
}

func (g generator) allowance() en16931.AllowanceCharge {
	a := en16931.AllowanceCharge{Charge: g.may("charge"), Amount: en16931.Cents(rapid.Int64Range(0, 20_000).Draw(g.t, "amount"), Currency)}
	if g.may("percentage") {
		a = en16931.Percentage(a.Charge, en16931.Cents(rapid.Int64Range(0, 100_000).Draw(g.t, "base"), Currency), g.decimal("percent", 0, 10_000, 2).Round(2))
	}
	switch {
	case !g.may("code"):
		a.Reason = g.text("reason")
	case a.Charge:
		a.ReasonCode = "ABL"
	default:
		a.ReasonCode = "95"
	}
	return a
}
