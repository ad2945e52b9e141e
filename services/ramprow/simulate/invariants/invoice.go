package invariants

import (
	"fmt"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

// invoices: numbers of a series count up from 1, a job gets one, and at that
// moment every condition was met, by what the job's own log says and by what the
// other logs said as far as the job's log had read them.
func invoices(f *findings, logs Logs, _ []Ack) {
	l := &ledger{logs: logs, cars: map[string]*car{}, numbers: map[string]uint64{}, read: map[string]uint64{}}
	for _, c := range logs["job"] {
		for i, entry := range c.GetEntries() {
			if cause := entry.GetReaction(); cause != nil {
				l.read[cause.GetService()] = max(l.read[cause.GetService()], cause.GetSequence())
			}
			for _, m := range c.Events[i] {
				of, ok := m.(interface{ GetJob() string })
				if !ok {
					continue // a catalogue
				}
				if l.cars[of.GetJob()] == nil {
					l.cars[of.GetJob()] = newCar(of.GetJob())
				}
				if closed, ok := m.(*jobv1.InvoiceClosed); ok {
					l.close(f, c, closed)
				}
				l.cars[of.GetJob()].apply(m, c.GetTime().AsTime())
			}
		}
	}
}

// ledger is what the job's log has said so far.
type ledger struct {
	logs    Logs
	cars    map[string]*car
	numbers map[string]uint64 // the newest of each series
	read    map[string]uint64 // how far the other logs were read
}

func (l *ledger) close(f *findings, c Commit, m *jobv1.InvoiceClosed) {
	l.numbers[m.GetSeries()]++
	n := l.numbers[m.GetSeries()]
	if m.GetSequence() != n || m.GetInvoice().GetNumber() != fmt.Sprintf("%s-%06d", m.GetSeries(), n) {
		f.add("invoice %s at sequence %d should be number %d of %s", m.GetInvoice().GetNumber(), c.Sequence, n, m.GetSeries())
	}
	about := l.cars[m.GetJob()]
	if about.closed {
		f.add("%s is invoiced once more at sequence %d", m.GetJob(), c.Sequence)
	}
	about.closed = true
	unmet := append(about.unmet(), about.unmetShelf(l.logs, l.read["inventory"])...)
	for _, u := range append(unmet, about.unmetSheet(l.logs, l.read["torque-audit"])...) {
		f.add("%s was invoiced at sequence %d although %s", m.GetJob(), c.Sequence, u)
	}
}
