// Package simulate lets random days at a workshop pass in a small world with
// every fault there is, all four services together, and checks the logs that
// they leave behind. See internal/platform/simulation for how a day is made
// repeatable, and the package invariants for what must hold.
package simulate
