package rpc

import (
	"context"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/telemetry"
	commonv1 "ramprow/proto/ramprow/common/v1"
)

// Commitment is what a command's answer says about its commit.
type Commitment struct {
	Revision    uint64
	CommittedAt time.Time
	// Repeated is true when the first answer is given again.
	Repeated bool
	// TraceID is of the call that brought the commit about; empty for this one.
	TraceID string
}

// Receipt proves to the caller that a command is on disk, and names the trace
// in which its effects are found: of a repetition that of the first call.
func Receipt(ctx context.Context, c Commitment) *commonv1.Receipt {
	if c.TraceID == "" {
		c.TraceID = telemetry.TraceID(ctx)
	}
	return &commonv1.Receipt{
		Revision:       c.Revision,
		CommittedAt:    timestamppb.New(c.CommittedAt),
		TraceId:        c.TraceID,
		RepeatedAnswer: c.Repeated,
	}
}
