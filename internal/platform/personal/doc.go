// Package personal keeps people's data readable only as long as its key is there.
//
// What says who somebody is goes into the log sealed: encrypted with AES-256-GCM
// under a key that belongs to one job (NIST SP 800-38D). Logs, snapshots, archive
// records and rows in Redis hold the sealed text and never the plain one; answers
// are opened on their way out. Who is to be forgotten is forgotten by destroying
// the keys: no copy of a log can be read any more, wherever it lies.
//
// Which fields hold such text is said in the protos: (ramprow.common.v1.personal).
// A sealed text is a string like any other, so it goes through events, sentences
// and other services' copies unchanged.
package personal
