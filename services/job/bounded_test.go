package job

import (
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

// However many jobs have come and gone, the state holds those of the last day.
func TestTheStateDoesNotGrowWithFinishedJobs(t *testing.T) {
	const perDay, days = 10, 60
	s := newSite(t)
	for day := range days {
		for i := range perDay {
			name := jobName(uint64(day*perDay + i + 1))
			s.commit([]proto.Message{
				&jobv1.JobOpened{Job: name, Vehicle: &jobv1.Vehicle{Vin: vin}, Customer: &jobv1.Customer{Name: "Otto Wend"}, Complaint: "shakes"},
				&jobv1.JobCancelled{Job: name, Reason: "sold"},
			})
		}
		s.rest(24 * time.Hour)
		if len(s.st.jobs) > perDay {
			t.Fatalf("after %d days the state holds %d jobs", day+1, len(s.st.jobs))
		}
	}
	if filed, resting := s.st.shelf.Len(); filed+resting != perDay*days || resting > perDay {
		t.Errorf("%d jobs are archived and %d rest, of %d", filed, resting, perDay*days)
	}
	if _, err := s.st.job(jobName(7)); err == nil {
		t.Error("a job of the first day is still in the state")
	}
}
