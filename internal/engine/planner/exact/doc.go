// Package exact proves how short a project can be, and finds schedules that are
// as short: a search that learns from every dead end.
//
//	project ──> bounds of every start ──> guess one ──> propagate ──> dead end?
//	                 ^                                                   │ why?
//	                 └──── a clause that keeps it from coming back <─────┘
//
// A literal is a bound: 'activity a starts at or after t', or at or before. Every
// propagation can name the literals that it follows from, so a dead end is traced
// back to the few bounds that make it (lazy clause generation; Ohrimenko, Stuckey,
// Codish, 2009; for the cumulative resource Schutt, Feydy, Stuckey, Wallace, 2011).
// Activities that cannot run at the same time get a literal of their own that says
// which comes first. All of this is known here from the literature's descriptions.
//
// The package is pure and deterministic; who calls says when to stop.
package exact
