// Package lease says which of several replicas should do a piece of work, and
// where the others send what they are asked to do.
//
// A lease is an entry in a store that all replicas share. Its holder writes it
// again every Renew; a replica that has seen no change for a TTL takes it over;
// a holder that stops gives it back, and the next takes it at once. Everybody
// measures with the own monotonic clock alone: nobody's idea of the time of day
// matters, so no expiry is written down.
//
// A lease saves work, it protects nothing: a replica that was stopped for a
// while may still believe that it holds one. Whatever must not happen twice has
// to be fenced where it is written, as a site's log does.
package lease
