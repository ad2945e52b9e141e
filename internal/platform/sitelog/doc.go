// Package sitelog runs a service as a state machine over an ordered log, one
// log per site. It knows no service: a Machine brings the pure functions, a Log
// the storage, and a Runner ties them together.
//
// # Vocabulary
//
//	site      one workshop; everything is kept and decided per site
//	subject   the log of one service at one site
//	commit    one message on a subject: entries that happened together or not at all
//	entry     one decision: its cause (command, reaction, timer, progress) and its events
//	revision  the stream sequence of a commit; it grows along a subject, with gaps
//	number    1, 2, 3 … of the commits of a subject, without a gap
//	guard     the last sequence that an append expects; whoever is behind is refused
//	flight    a commit whose publish is under way
//	batch     the commit under construction meanwhile
//	parked    a foreign event that could not be handled and waits for a person
//
// # Pipeline
//
//	Do, View, Release …          other services' logs
//	       │                             │
//	    inbox (bounded)            followers (from the position in the own log)
//	       └──────────┐       ┌──────────┘
//	                  v       v
//	            writer: decide, evolve  <── what is due (timers)
//	                  │
//	                batch ──seal──> flight ──append with guard──> Log
//	                  ^                │
//	                  │                ├── on disk: answer everybody who waited
//	                  └─ decide again ─┴── somebody else was first: state from the log
//
// One goroutine per site owns the state. While a flight is out it goes on
// deciding, on state that is not yet on disk, into the next batch; so commands
// share commits, and nobody is answered before the disk. A view or a refusal
// waits in the same way for what it was decided on. Without a flight it is
// answered after a look at the tail of the log: a batch without entries.
//
// # Invariants
//
//   - A command that was answered is in the log exactly once, whatever happened
//     to publishes, connections and writers.
//
//   - An unknown outcome is resolved by reading what stands behind the guard.
//     The same commit may be appended again, since its guard lets one copy in.
//
//   - The state is the fold of the log. What was decided on top of a commit that
//     was not taken is thrown away and decided again.
//
//   - A refusal, a view and an answer without events hold for a state that was
//     the newest at some time during the call.
//
//   - Every event of a followed log is handled or parked once, in order. Its
//     effects, and how far that log was read, are one commit. What was of no
//     interest is looked at again after a restart or a lost race.
//
//   - Commits are chained by number and SHA-256. A writer never builds on a log
//     that does not fit together; it stops with a DamagedError, and other sites go on.
//
//   - Entries of one commit share one time, and decisions see that time. While
//     the log does not answer, the open batch keeps the time of its first entry.
//
//   - Nothing here tells the time but Options.Now. Timers only wake a writer.
//
//   - A snapshot is only ever a shorter way to the same state. It is used if the
//     log holds the very commit that it names, and thrown away when in doubt. If
//     this log held that commit once and does not now, it is damaged.
//
// A request_id is remembered for RequestMemory.
//
// # Snapshots
//
// A snapshot is due every so many commits. It is captured when a commit takes
// off, because the state then holds that commit and nothing more; encoded and
// stored beside the writer once it has landed; and forgotten if it does not.
// What was damaged in the log before a snapshot is not seen by a start from it:
// Verify walks the whole log.
//
// # Archive
//
// What is finished leaves the state by an Archived event, which holds all that
// the state knew of it: the log itself is the archive, and the state keeps the
// number of that commit. Whoever needs it says so by an ArchivedError; the writer
// then reads the record and puts a Recalled event before what is decided. A
// refusal or a view leaves everything as it was.
package sitelog
