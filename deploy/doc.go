// Package deploy holds what a site starts Ramprow with: scripts for one machine,
// a compose file, broker and Redis configuration, TLS. The Go files are tests
// that read all of it, since not everything can be run where it is built.
package deploy
