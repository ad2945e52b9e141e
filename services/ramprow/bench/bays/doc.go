// Package bays measures the planning of workshops: how good a plan is at once, after
// a second and after a minute, and what one disturbance changes.
package bays
