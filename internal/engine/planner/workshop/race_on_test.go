//go:build race

package workshop_test

// problems is how many tiny problems are held against brute force: fewer while races
// are looked for, because that makes the plain loops many times slower.
const problems = 200
