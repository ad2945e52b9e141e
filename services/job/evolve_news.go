package job

import (
	"google.golang.org/protobuf/proto"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

// applyNews is what the other services told.
func (j *Job) applyNews(m proto.Message) bool {
	switch m := m.(type) {
	case *jobv1.PartsNoted:
		j.Parts = m.GetStatus()
	case *jobv1.BookingNoted:
		j.Booking = m.GetStatus()
	case *jobv1.AuditNoted:
		j.Audit = m.GetStatus()
		if j.Audit.GetState() == jobv1.AuditState_AUDIT_STATE_REOPENED {
			j.Lookback = nil
		}
	default:
		return false
	}
	return true
}

// applyEnd is the proof that the car is well, and the end of the job.
func (j *Job) applyEnd(m proto.Message, h happening) bool {
	switch m := m.(type) {
	case *jobv1.CodesCleared:
		j.ClearedAt = h.at
	case *jobv1.RoadTestRecorded:
		j.RoadTests = append(j.RoadTests, m.GetTest())
	case *jobv1.InvoiceClosed:
		j.issue(m.GetInvoice())
	case *jobv1.PaymentRecorded:
		if j.Paid == nil {
			j.Paid = map[string]int64{}
		}
		j.Paid[m.GetInvoice()] += m.GetAmount().GetMinorUnits()
	case *jobv1.JobCancelled:
		j.Cancelled, j.CancelReason = true, m.GetReason()
	default:
		return false
	}
	return true
}
