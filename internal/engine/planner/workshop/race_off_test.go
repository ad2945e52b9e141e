//go:build !race

package workshop_test

// problems is how many tiny problems are held against brute force.
const problems = 2000
