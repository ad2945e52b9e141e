package readmodel

import (
	"fmt"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/sitelog"
	logv1 "ramprow/proto/ramprow/log/v1"
)

// commitOf reads the commit in a record.
func commitOf(r sitelog.Record) (*logv1.Commit, error) {
	commit := &logv1.Commit{}
	if err := proto.Unmarshal(r.Data, commit); err != nil {
		return nil, fmt.Errorf("record %d of %s/%s is no commit: %w", r.Sequence, r.Subject.Service, r.Subject.Site, err)
	}
	return commit, nil
}

// eventsOf gives the events of a commit in their order.
func eventsOf(r sitelog.Record, commit *logv1.Commit) ([]sitelog.Event, error) {
	var events []sitelog.Event
	for _, entry := range commit.GetEntries() {
		actor := sitelog.Actor{Person: entry.GetActor().GetPerson()}
		for _, role := range entry.GetActor().GetRoles() {
			actor.Roles = append(actor.Roles, role.String())
		}
		for _, packed := range entry.GetEvents() {
			message, err := packed.UnmarshalNew()
			if err != nil {
				return nil, fmt.Errorf("record %d of %s/%s: %w", r.Sequence, r.Subject.Service, r.Subject.Site, err)
			}
			events = append(events, sitelog.Event{
				Message: message, Site: commit.GetSite(), Number: commit.GetNumber(),
				Sequence: r.Sequence, Time: commit.GetTime().AsTime(), Actor: actor,
			})
		}
	}
	return events, nil
}
