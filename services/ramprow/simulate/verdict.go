package simulate

import (
	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/simulation"
	"ramprow/services/ramprow/simulate/invariants"
)

// Verdict is what a day showed.
type Verdict struct {
	Day        Day
	Violations []invariants.Violation
	Transcript []string
	// Answered counts acknowledged calls, Commits the records of all logs.
	Answered int
	Commits  int
}

// Judge lets the day pass and checks what it left. The error is a defect of the
// simulator.
func (d Day) Judge() (Verdict, error) {
	result, err := d.live()
	if err != nil {
		return Verdict{}, err
	}
	logs, err := invariants.Read(result.Records)
	if err != nil {
		return Verdict{}, err
	}
	acks := acknowledged(result.Calls)
	return Verdict{
		Day: d, Violations: invariants.Check(logs, acks), Transcript: result.Transcript,
		Answered: len(acks), Commits: len(result.Records),
	}, nil
}

func acknowledged(calls []*simulation.Call) []invariants.Ack {
	var acks []invariants.Ack
	for _, c := range calls {
		if c.Answered && c.Err == nil {
			acks = append(acks, invariants.Ack{Service: c.Service, Method: c.Method, RequestID: requestID(c.Message), Response: c.Answer})
		}
	}
	return acks
}

func requestID(m proto.Message) string {
	if r, ok := m.(interface{ GetRequestId() string }); ok {
		return r.GetRequestId()
	}
	return ""
}
