// Package recount makes the owner's figures once more, from nothing but the logs
// and by brute force: it cuts time into pieces in which nothing happened, asks of
// every job in every piece how it stood, by reading the job's events from their
// beginning, and adds the pieces up. No service and no engine is asked.
//
// What queueing formulas expect of the same load is left out: the engine's own
// tests hold that against published values.
package recount
