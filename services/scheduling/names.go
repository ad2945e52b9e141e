package scheduling

import (
	"cmp"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/shelf"
	commonv1 "ramprow/proto/ramprow/common/v1"
)

func compareJobs(a, b string) int { return cmp.Compare(shelf.Number(a), shelf.Number(b)) }

// bookingName gives bookings/17 for jobs/17.
func bookingName(job string) string {
	return "bookings/" + strings.TrimPrefix(job, "jobs/")
}

func clone[M proto.Message](m M) M { return proto.CloneOf(m) }

// timeOf gives the zero time for an absent one.
func timeOf(t *timestamppb.Timestamp) time.Time {
	if t == nil {
		return time.Time{}
	}
	return t.AsTime()
}

// stamp gives nothing for the zero time.
func stamp(t time.Time) *timestamppb.Timestamp {
	if t.IsZero() {
		return nil
	}
	return timestamppb.New(t)
}

func interval(start, end time.Time) *commonv1.Interval {
	return &commonv1.Interval{Start: timestamppb.New(start), End: timestamppb.New(end)}
}
