package torqueaudit

import (
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/shelf"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// keptReadings bounds how many readings of sheets that have left the state are
// still charted: four times what one question looks at.
const keptReadings = 4 * chartedReadings

// history holds what charts need of sheets that have left the state, those that
// left last. A sheet that comes back is in both until it leaves again, so
// whoever reads the history skips what is there, and what a later leaving replaced.
type history []pastReading

type pastReading struct {
	Job              string
	Left             uint64 // the commit by which its sheet left
	Number           uint32
	At               time.Time
	Value            float64 // in its own window, from -1 to 1
	Counts           bool
	Wrench, By, Name string // Name: of the joint
}

// keep takes the readings of a sheet that leaves with a commit. What is cut off
// goes when append makes a new array.
func (h *history) keep(sh *sheet, commit uint64) {
	kept := *h
	for _, j := range sh.joints {
		for _, r := range j.readings {
			if value, ok := inWindow(r); ok && r.GetCorrectedBy() == 0 {
				kept = append(kept, pastReading{
					Job: sh.job, Left: commit, Number: r.GetNumber(), At: r.GetAt().AsTime(), Value: value, Counts: r.GetCounts(),
					Wrench: r.GetWrench(), By: r.GetBy(), Name: r.GetJoint(),
				})
			}
		}
	}
	*h = kept[max(0, len(kept)-keptReadings):]
}

// chart picks the readings asked about of sheets that are away.
func (h history) chart(away func(job string) bool, req *pb.GetTighteningStatisticsRequest) []charted {
	last := map[string]uint64{}
	for i := range h {
		last[h[i].Job] = h[i].Left
	}
	var found []charted
	for i := range h {
		p := &h[i]
		if p.Left != last[p.Job] || p.of(req.GetBy()) != req.GetOf() || before(p.At, req.GetSince()) || !away(p.Job) {
			continue
		}
		found = append(found, charted{at: p.At, job: shelf.Number(p.Job), number: p.Number, value: p.Value, counts: p.Counts})
	}
	return found
}

func before(at time.Time, since *timestamppb.Timestamp) bool {
	return since != nil && at.Before(since.AsTime())
}

// of gives whose readings a question is about.
func (p *pastReading) of(by pb.StatisticsBy) string {
	switch by {
	case pb.StatisticsBy_STATISTICS_BY_TOOL:
		return p.Wrench
	case pb.StatisticsBy_STATISTICS_BY_PERSON:
		return p.By
	case pb.StatisticsBy_STATISTICS_BY_JOINT:
		return p.Name
	case pb.StatisticsBy_STATISTICS_BY_UNSPECIFIED:
	}
	return ""
}
