// Package projects measures the planning engine's search on published instances:
// projects under scarce resources and job shops, beside the best known values and
// the critical path. Every schedule is held against the separate checker.
package projects
