package job

import (
	"google.golang.org/protobuf/proto"

	commonv1 "ramprow/proto/ramprow/common/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// askAuthority says that the customer must be asked again: he had agreed to the plan before, and the plan after costs more
// than he agreed to. Until he answers, no further step begins.
func askAuthority(before, after *Job, reason string) []proto.Message {
	if before.authorised() == 0 || before.authorised() < before.estimate() && after.estimate() <= before.estimate() ||
		after.estimate() <= after.authorised() {
		return nil
	}
	money := func(minor int64) *commonv1.Money {
		return &commonv1.Money{MinorUnits: minor, CurrencyCode: after.currency()}
	}
	return []proto.Message{&jobv1.AuthorityAsked{
		Job: after.Name, Estimate: money(after.estimate()), Authorised: money(after.authorised()), Reason: reason,
	}}
}

// asking is the question that the customer has not answered; nil once he has agreed to enough, or the plan costs less again.
func (j *Job) asking() *jobv1.AuthorityAsk {
	if j.Asked == nil || j.authorised() >= j.estimate() {
		return nil
	}
	return j.Asked
}
