package invariants

import (
	"fmt"
	"maps"
	"slices"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/sitelog"
	logv1 "ramprow/proto/ramprow/log/v1"
)

// Commit is one decoded record of a log.
type Commit struct {
	*logv1.Commit

	Sequence uint64
	Payload  []byte
	// Events of each entry, unpacked.
	Events [][]proto.Message
}

// Logs are a site's logs by service.
type Logs map[string][]Commit

// services names the logs in a fixed order.
func (l Logs) services() []string { return slices.Sorted(maps.Keys(l)) }

// Read decodes records, which are in the order of each log.
func Read(records []sitelog.Record) (Logs, error) {
	logs := Logs{}
	for _, r := range records {
		c := Commit{Commit: &logv1.Commit{}, Sequence: r.Sequence, Payload: r.Data}
		if err := proto.Unmarshal(r.Data, c.Commit); err != nil {
			return nil, fmt.Errorf("%s at sequence %d is no commit: %w", r.Subject.Service, r.Sequence, err)
		}
		for _, entry := range c.GetEntries() {
			var events []proto.Message
			for _, packed := range entry.GetEvents() {
				m, err := packed.UnmarshalNew()
				if err != nil {
					return nil, fmt.Errorf("%s at sequence %d: %w", r.Subject.Service, r.Sequence, err)
				}
				events = append(events, m)
			}
			c.Events = append(c.Events, events)
		}
		logs[r.Subject.Service] = append(logs[r.Subject.Service], c)
	}
	return logs, nil
}

// Ack is a success that a caller was told of.
type Ack struct {
	Service   string
	Method    string // full
	RequestID string
	Response  proto.Message
}

// Violation is something that must not be.
type Violation struct {
	// Rule is the name of the rule in the package comment.
	Rule string
	Text string
}

// String tells it on one line.
func (v Violation) String() string { return v.Rule + ": " + v.Text }

// findings collects the violations of one rule.
type findings struct {
	rule string
	list []Violation
}

func (f *findings) add(format string, args ...any) {
	f.list = append(f.list, Violation{Rule: f.rule, Text: fmt.Sprintf(format, args...)})
}

// Check gives every violation. The logs must have come to rest: followers have
// read everything there is.
func Check(logs Logs, acks []Ack) []Violation {
	var all []Violation
	for _, rule := range []struct {
		name  string
		check func(*findings, Logs, []Ack)
	}{
		{"chain", chain}, {"once", once}, {"followers", followers}, {"shelf", shelf}, {"board", board}, {"invoice", invoices},
	} {
		f := &findings{rule: rule.name}
		rule.check(f, logs, acks)
		all = append(all, f.list...)
	}
	return all
}
