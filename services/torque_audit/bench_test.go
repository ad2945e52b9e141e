package torqueaudit

import (
	"fmt"
	"testing"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

// BenchmarkPostReading decides and applies readings on a sheet of 25 joints
// with 10 bolts each, half of which are done: the cost of one reading before
// it goes to disk.
func BenchmarkPostReading(b *testing.B) {
	var joints []*jobv1.JointDue
	for n := range 25 {
		j := cover()
		j.Joint, j.Title, j.ForStep = fmt.Sprintf("joint-%d", n), fmt.Sprintf("Joint %d", n), "close"
		j.Fasteners, j.Order = 10, []uint32{5, 6, 4, 7, 3, 8, 2, 9, 1, 10}
		joints = append(joints, j)
	}
	s := started(b, joints...)
	for n := range 12 {
		s.tighten(fmt.Sprintf("joint-%d", n))
	}
	req := s.ideal("joint-12")
	for b.Loop() {
		if _, _, err := decidePostReading(s.state, s.as("ada"), req); err != nil {
			b.Fatal(err)
		}
	}
}
