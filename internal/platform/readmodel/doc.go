// Package readmodel keeps what a service's readers ask for in Redis, as
// projections of the service's own log.
//
//	log ──follow──> fold (the state S of a site, in memory)
//	                  │ rows touched since the last write
//	                  ├──> Redis: rows, index entries and position, in one MULTI
//	                  └──> watchers: the latest row per key
//
// A Projector folds each site's log. What it writes is never a queue of
// changes but the set of rows that changed since the position that stands in
// Redis, rendered from the present state. So commits that arrive while a write
// is under way, or within some milliseconds of it, leave together in the next
// one, at once if a reader waits for them. And a long outage costs no memory:
// once too many rows have changed, all of them are written anew.
//
// The position is the only guard. It names the log, the last commit that the
// rows hold, or the rebuild that is under way. Every write watches it, so two
// projectors at once, a repeated write and an emptied Redis are all harmless:
// Redis is a cache of the log and never the truth.
//
// Views answer reads from Redis where the position vouches for it, and from
// the state otherwise. Only this package imports go-redis.
package readmodel
