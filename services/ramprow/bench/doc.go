// Package bench measures a workshop on the machine that it runs on: how many
// commands a second reach the disk, beside what the broker and the bare call
// can do there; how long a bay takes from the diagnosis; and where the time of
// a command goes.
//
// # Vocabulary
//
//	caller   one goroutine that sends its next call when the last was answered
//	crowd    so many callers, shared out among so many sites
//	place    the broker and the Redis that the workshop stands on
//	leg      one way of spending a round: commands, broker or call
//	round    every leg once with every crowd
//	sample   what one leg of one round gave
//	rival    a leg that commands are set beside: the broker or the call
//
// # How it is fair
//
//   - The legs take turns within every round, each time in another order, so
//     that whatever else the machine does disturbs all alike. A ratio is taken
//     between neighbours in one round; what is told is the median of the rounds.
//   - The broker's leg publishes one message a command, of the size of a commit
//     with one command, into a stream that is stored and synced like the log.
//   - The call's leg is the same method with the same request, answer, checks,
//     token and server, but nothing behind it.
//   - The commands that were answered are counted again in the log afterwards.
//     Reading models follow the log during the run, as in a workshop at work.
//   - Everything shares the processors of one machine: callers, servers, broker
//     and read models; and one process, but for a broker or Redis outside.
package bench
