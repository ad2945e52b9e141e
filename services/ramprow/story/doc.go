// Package story runs one whole job through gRPC as the four people of a
// workshop would, and tells it: a misfire that several things can cause, a car
// that must be opened to see which design it has, a part that is short, an
// invoice that is refused first.
//
// Everything is invented. The same story is the demo, and the end-to-end test
// that runs against one process and against many.
package story
