package terminal

import (
	moneytext "ramprow/internal/money"
	commonv1 "ramprow/proto/ramprow/common/v1"
)

// money writes an amount, as in 1234.50 EUR; nothing for none.
func money(m *commonv1.Money) string {
	if m == nil {
		return ""
	}
	return amount(m.GetMinorUnits(), minorDigits(m.GetCurrencyCode())) + " " + m.GetCurrencyCode()
}

func amount(units int64, digits int) string { return moneytext.Format(units, digits) }

func minorDigits(currency string) int { return moneytext.Digits(currency) }

func parseMoney(text, currency string) (*commonv1.Money, error) {
	units, err := moneytext.Parse(text, currency)
	if err != nil {
		return nil, err
	}
	return &commonv1.Money{MinorUnits: units, CurrencyCode: currency}, nil
}

// sumMoney adds amounts of one currency.
func sumMoney(all ...*commonv1.Money) *commonv1.Money {
	sum := &commonv1.Money{}
	for _, m := range all {
		sum.MinorUnits += m.GetMinorUnits()
		if m.GetCurrencyCode() != "" {
			sum.CurrencyCode = m.GetCurrencyCode()
		}
	}
	return sum
}
