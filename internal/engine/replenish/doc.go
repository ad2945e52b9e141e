// Package replenish computes what a store should hold and buy: how much to
// order at once, when to order again, what to hold for a part that is rarely
// asked for, what can still be promised, and which proposals follow from it.
//
//	demand history ──> Classify ──> Forecast (SES, Croston, SBA, TSB)
//	                                   │ demand per period and its spread
//	lead time, wanted service ─────────┤
//	                                   v
//	      Reviewed.ReorderForFill: Poisson, negative binomial or normal
//	                                   │ + EOQ, packs, minimum order
//	stock position ────────────────────┴──> Propose: how much, and why in a line
//
// Beside that pipeline stand the classical models, each by itself: lots with
// backorders, production rates and price breaks; the newsvendor; reorder points
// by type 1 and type 2 service; base stocks; the best (r, Q) and (s, S) policies;
// Wagner and Whitin's plan for known demands; ABC; available-to-promise.
//
// Everything is pure: the standard library only, no clock and no chance. Demand
// is per period and lead times are in the same period; costs are in one
// currency's unit of the caller's choice. A bad input is a *InputError.
//
// The formulas are the textbook ones (Snyder and Shen, Fundamentals of Supply
// Chain Theory; Nahmias, Production and Operations Analysis; Syntetos and
// Boylan on intermittent demand), and each is checked against published
// numbers in the tests.
package replenish
