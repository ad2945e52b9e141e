// Package terminal is the command line for the four people of a workshop: a
// gRPC client like any other, with tables for people and JSON for programs.
package terminal
