// Package teardown plans how a car is opened, worked on and closed again.
//
// A car is pieces that keep one another from coming off, operations that take pieces off or reach
// them, and states of the car that operations need or forbid. New finds out, Plan then answers: the set of
// operations of least expected effort that makes the work possible, their order, the way back, and
// why each step is there.
//
// The package is pure: it reads no clock and draws randomness only from the seed it is given. All
// efforts are minutes.
package teardown
