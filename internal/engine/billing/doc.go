// Package billing computes invoices: line amounts, tax per category and rate,
// totals. Amounts are whole minor units of one currency (cents); nothing is
// ever a floating-point number.
//
// The rules are those of EN 16931: each line is rounded by itself, half away
// from zero; tax is computed once per category and rate from the sum of its
// lines (BR-CO-17, BR-S-08), never as a sum of taxes per line; totals are sums
// of rounded amounts and are not rounded again (BR-CO-10, -13, -14, -15).
package billing
