// Package stack puts the roles of Ramprow together: the table of roles, what a
// role stands on, and a whole workshop in one process. It is wiring only; the
// only place that knows several services.
package stack
