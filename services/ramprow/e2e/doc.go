// Package e2e holds the end-to-end tests of Ramprow: the story that the demo
// tells, run in one process and over one process per role with a broker and a
// Redis outside; one trace through all services; a client that knows nothing but
// reflection; and every kind of bad input at every method.
package e2e
