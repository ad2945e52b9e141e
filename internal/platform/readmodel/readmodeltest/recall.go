package readmodeltest

import (
	"errors"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/sitelog"
	logv1 "ramprow/proto/ramprow/log/v1"
)

// Recall gives the event that brings back what an error says is archived, as a
// writer would, from the events so far; nil if the error says no such thing.
func Recall(t T, events []sitelog.Event, err error) []proto.Message {
	t.Helper()
	filed, ok := errors.AsType[*sitelog.ArchivedError](err)
	if !ok {
		return nil
	}
	for _, e := range events {
		archived, ok := e.Message.(*logv1.Archived)
		if ok && e.Number == filed.Commit && archived.GetName() == filed.Name {
			return []proto.Message{&logv1.Recalled{Name: filed.Name, Commit: filed.Commit, Record: archived.GetRecord()}}
		}
	}
	t.Fatalf("%v, and no event does that", err)
	return nil
}
