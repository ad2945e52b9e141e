// Package job takes a car from its complaint to a closed invoice: what the
// control unit says, what is broken, what comes off and goes back, what was
// found, and every condition that must hold before money is asked for.
//
//	state.go, aggregate.go   the state of a site and of one job
//	evolve_*.go              what each event does to it
//	decide_*.go              what each call brings about, or why it is refused
//	plan*.go                 from the engines' answer to the plan that others act on
//	reactions.go             what inventory, scheduling and the audit tell
//	unmet.go, invoice.go     the last gate
//	views.go, history.go     what readers get
//	server*.go               gRPC
//
// The package decides and plans by the engines diagnosis, teardown, fastening
// and billing, with what the site's catalogue says of the car.
package job
