package invariants

import (
	"fmt"
	"slices"

	logv1 "ramprow/proto/ramprow/log/v1"
)

// mustFollow says for events that always bring something about who has to say so.
var mustFollow = map[string][]string{
	"ramprow.job.v1.CatalogueImported":       {"inventory"},
	"ramprow.job.v1.DiagnosisConfirmed":      {"inventory", "scheduling", "torque-audit"},
	"ramprow.torque_audit.v1.SheetOpened":    {"job"},
	"ramprow.torque_audit.v1.SheetCompleted": {"job"},
}

// spot names one event of a log.
type spot struct {
	service      string
	sequence     uint64
	entry, event uint32
}

// followers: no event is followed up twice, positions never go back, causes are
// what they say they are, and what must be followed up was.
func followers(f *findings, logs Logs, _ []Ack) {
	for _, service := range logs.services() {
		handled := reactions(f, service, logs[service], logs)
		for _, followed := range logs.services() {
			for _, c := range logs[followed] {
				missing(f, service, followed, c, handled)
			}
		}
	}
}

// reactions gives what a log says to have followed up.
func reactions(f *findings, service string, log []Commit, logs Logs) map[spot]bool {
	handled, parked, position := map[spot]bool{}, map[spot]bool{}, map[string]uint64{}
	for _, c := range log {
		for _, e := range c.GetEntries() {
			cause := e.GetReaction()
			if cause == nil {
				continue
			}
			at := spot{cause.GetService(), cause.GetSequence(), cause.GetEntryIndex(), cause.GetEventIndex()}
			outcome := cause.GetParking().GetOutcome()
			again := outcome == logv1.Parking_OUTCOME_RELEASED || outcome == logv1.Parking_OUTCOME_DROPPED ||
				outcome == logv1.Parking_OUTCOME_PARKED && cause.GetParking().GetAttempts() > 1
			switch {
			case handled[at] && (!again || !parked[at]):
				f.add("%s at sequence %d follows up %v once more", service, c.Sequence, at)
			case !again && cause.GetSequence() < position[at.service]:
				f.add("%s at sequence %d goes back in %s from %d to %d", service, c.Sequence, at.service, position[at.service], at.sequence)
			}
			handled[at] = true
			parked[at] = outcome == logv1.Parking_OUTCOME_PARKED
			if parked[at] {
				f.add("%s could not handle %v and parked it: %s", service, at, cause.GetParking().GetError())
			}
			position[at.service] = max(position[at.service], at.sequence)
			if err := exists(at, cause.GetCommitId(), logs); err != nil {
				f.add("%s at sequence %d: %v", service, c.Sequence, err)
			}
		}
	}
	return handled
}

// exists tells whether a cause points to an event that is there.
func exists(at spot, commit string, logs Logs) error {
	i, found := slices.BinarySearchFunc(logs[at.service], at.sequence, func(c Commit, sequence uint64) int {
		return int(c.Sequence) - int(sequence) //nolint:gosec // sequences of one run are small
	})
	if !found {
		return fmt.Errorf("its cause %v does not exist", at)
	}
	c := logs[at.service][i]
	if c.GetId() != commit || int(at.entry) >= len(c.Events) || int(at.event) >= len(c.Events[at.entry]) {
		return fmt.Errorf("its cause %v is another one", at)
	}
	return nil
}

func missing(f *findings, service, followed string, c Commit, handled map[spot]bool) {
	for i, events := range c.Events {
		for j, m := range events {
			name := string(m.ProtoReflect().Descriptor().FullName())
			at := spot{followed, c.Sequence, uint32(i), uint32(j)}
			if slices.Contains(mustFollow[name], service) && !handled[at] {
				f.add("%s never followed up %s at %v", service, name, at)
			}
		}
	}
}
