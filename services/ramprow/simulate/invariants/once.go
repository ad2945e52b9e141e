package invariants

import (
	"strings"

	"google.golang.org/protobuf/proto"

	commonv1 "ramprow/proto/ramprow/common/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// mayChangeNothing are the methods whose success may leave no trace, because it
// was so already.
var mayChangeNothing = map[string]bool{
	"StartStep": true, "ResumeStep": true, "PauseStep": true, "PinBooking": true, "UnpinBooking": true,
	"MoveBooking": true, "SetResource": true, "ImportCatalogue": true, "CountShelf": true, "RenewHold": true,
	"SetRoster": true, "SetClosedDays": true, "ReceiveVehicle": true, "ChangeAppointment": true,
}

// place is where a command stands in its log.
type place struct {
	sequence uint64
	times    int
}

// once: a request id stands in a log at most once; who was told of a success
// finds it there, at the revision of the receipt; and everybody who asked with
// the same id was told the same.
func once(f *findings, logs Logs, acks []Ack) {
	places := map[string]place{}
	for _, service := range logs.services() {
		for _, c := range logs[service] {
			for _, e := range c.GetEntries() {
				id := e.GetCommand().GetRequestId()
				if id == "" {
					continue
				}
				key := service + " " + id
				places[key] = place{sequence: c.Sequence, times: places[key].times + 1}
				if places[key].times == 2 {
					f.add("%s has request %s more than once", service, id)
				}
			}
		}
	}
	first := map[string]Ack{}
	for _, a := range acks {
		key := a.Service + " " + a.RequestID
		at, written := places[key]
		revision := receipt(a.Response).GetRevision()
		switch {
		case !written && !mayChangeNothing[method(a)]:
			f.add("%s answered %s of request %s, and it is not in the log", a.Service, method(a), a.RequestID)
		case !written, revision < at.sequence && mayChangeNothing[method(a)]:
		case revision != at.sequence:
			f.add("%s answered request %s with revision %d, and it stands at %d", a.Service, a.RequestID, revision, at.sequence)
		default:
			before, known := first[key]
			if known && !sameAnswer(before.Response, a.Response) {
				f.add("%s answered request %s in two ways", a.Service, a.RequestID)
			}
			first[key] = a
		}
	}
}

func method(a Ack) string { return a.Method[strings.LastIndexByte(a.Method, '/')+1:] }

func receipt(m proto.Message) *commonv1.Receipt {
	if of, ok := m.(interface{ GetReceipt() *commonv1.Receipt }); ok {
		return of.GetReceipt()
	}
	return nil
}

// sameAnswer compares answers but for the mark that one is a repetition. A job
// comes as it is when it is told, so of a job only the name has to be the same.
func sameAnswer(a, b proto.Message) bool {
	a, b = proto.Clone(a), proto.Clone(b)
	for _, m := range []proto.Message{a, b} {
		if of, ok := m.(interface{ GetJob() *jobv1.Job }); ok && of.GetJob() != nil {
			name := of.GetJob().GetName()
			proto.Reset(of.GetJob())
			of.GetJob().Name = name
		}
	}
	for _, r := range []*commonv1.Receipt{receipt(a), receipt(b)} {
		if r != nil {
			r.RepeatedAnswer = false
		}
	}
	return proto.Equal(a, b)
}
