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
}

// Receipt proves to the caller that a command is on disk, and names the trace
// of this call.
func Receipt(ctx context.Context, c Commitment) *commonv1.Receipt {
	return &commonv1.Receipt{
		Revision:       c.Revision,
		CommittedAt:    timestamppb.New(c.CommittedAt),
		TraceId:        telemetry.TraceID(ctx),
		RepeatedAnswer: c.Repeated,
	}
}
