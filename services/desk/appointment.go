package desk

import (
	"strconv"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

// changeAppointment sends what differs from what the form began with: a field that
// somebody else changed meanwhile is not set back.
func (d *Desk) changeAppointment(v *visit) error {
	request := &jobv1.ChangeAppointmentRequest{RequestId: v.requestID(), Job: v.job(), Reason: v.form("reason")}
	expected, err := v.changedMoment("expected")
	if err != nil {
		return err
	}
	if !expected.IsZero() {
		request.ExpectedAt = timestamppb.New(expected)
	}
	wanted, err := v.changedMoment("wanted")
	if err != nil {
		return err
	}
	if !wanted.IsZero() {
		request.WantedBy = timestamppb.New(wanted)
	}
	request.ClearWantedBy = v.form("wanted") == "" && v.form("wanted.before") != ""
	if urgency := v.form("priority"); urgency != v.form("priority.before") {
		n, err := strconv.ParseUint(urgency, 10, 32)
		if err != nil {
			return badField("priority", "must be a whole number from 0 to 9")
		}
		priority := uint32(n)
		request.Priority = &priority
	}
	r, err := d.Services.Job.ChangeAppointment(v.ctx, request)
	if err != nil {
		return err
	}
	return v.done("/jobs/"+v.r.PathValue("job"), "appointed", r.GetReceipt())
}

// changedMoment is moment, or the zero time if the field is as it was.
func (v *visit) changedMoment(name string) (time.Time, error) {
	if v.form(name) == v.form(name+".before") {
		return time.Time{}, nil
	}
	return v.moment(name)
}
