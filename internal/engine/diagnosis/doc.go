// Package diagnosis says what is probably broken and what to do next.
//
// Causes are independent beforehand and several may be present. Codes, symptoms and test results
// are leaky noisy-ORs of them. Diagnose gives the exact posterior; Next ranks tests, openings and
// repairs by the expected minutes to a verified repair.
//
// The package is pure: no clock, no randomness, no I/O. Times are minutes.
package diagnosis
