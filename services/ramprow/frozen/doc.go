// Package frozen holds what earlier programs wrote, and tests that every later
// program still reads it: a sample of every event, and whole logs with the rows
// of the read models that follow from them.
//
// What lies in testdata is only ever added to. A sample or a log that is not
// read any more, or means something else than it did, is a defect of the
// program, since logs like it are on the disks of workshops.
//
//	go test ./services/ramprow/frozen -add            # samples of what has none yet: new events, new fields
//	go test ./services/ramprow/frozen -record story   # one more log, under a name that is free
//	go test ./services/ramprow/frozen -rows           # rows anew, for projections whose Version was raised
package frozen
