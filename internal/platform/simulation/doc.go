// Package simulation runs services in a small world in which everything that can
// go wrong does, and can be repeated exactly. It knows no service.
//
// # Vocabulary
//
//	world     one site's logs, the replicas of its services, their clocks, the callers
//	replica   one running service: a real sitelog.Runner behind its gRPC methods
//	step      one thing that the world does: a call, a fault, a crash, an hour that passes
//	gate      where every operation on the log waits until a step lets it go
//	ghost     a message that was given up by its sender and arrives later
//	heal      the end of every run: no more faults, and every open call is asked again
//
// # What makes a run repeatable
//
// The world lives in a testing/synctest bubble, so its time is virtual. After
// each input the world waits until every goroutine is blocked, and each input
// reaches one goroutine of one replica: every Append, Last and Read, and every
// single record that a follower is given, stops at the gate. What a step does
// depends on the seed and the number of the step alone, so steps can be left out
// to find the shortest history that still fails.
//
// # What is not controlled
//
// The order of Go's map iteration, and the order in which protobuf encodes map
// fields. A service whose decisions depend on either is not deterministic; that
// is a finding, and the comparison of two runs shows it. Goroutines between two
// gates run as Go's scheduler likes; they touch nothing in common but the gate,
// which is asked in a fixed order. The bytes of a commit may differ by the order
// of map fields, so runs are compared by their decoded content (see Digest).
// The clock stands still within a step, and power loss beneath the log is not
// simulated: the log in memory keeps what it acknowledged.
package simulation
