// Package inventory is the service that keeps a site's shelf: what is there,
// what is promised to which job, and what to buy.
//
// The shelf changes by numbered movements only, so what is on hand is always
// their sum. A job's hold says for each of its lines how much lies on the shelf
// for it. Three things hold after every commit:
//
//   - no more is held of a part than is on hand;
//   - while a line waits for a part, everything of it on the shelf is held:
//     nothing lies idle, and nothing is promised past somebody who waits;
//   - what comes free goes to the waiting lines by priority, then age, in the
//     commit that frees it.
//
// A decision collects its changes in a draft over the unchanged state, serves
// who waits, dates what is missing from the open orders, and gives the events:
//
//	state.go    what is known, and how events change it
//	draft.go    one decision's changes; serve.go serves and dates waiting lines
//	decide_*.go the commands, pure
//	reactions.go, timers.go  what other services and the clock bring about, pure
//	propose.go  what to buy, by the replenish engine
//	views.go    rows for readers; server.go the gRPC methods
//
// A kit is picked by scans: picked pieces are held and on hand, but off their
// bin (picks.go), and what is picked in vain is a stray until it is put back. A
// bin that is empty is told to every job that had pieces in it, and asks for a
// count. A count that differs has a cause; a large difference is booked once two
// people found it. What goes back to a supplier is a return (returns.go): it is
// not on hand, and stays open until it is known what became of it.
//
// A line whose part has been superseded and is not on the shelf is given the
// newest successor in its unit when the hold is made; the line's title says so.
package inventory
