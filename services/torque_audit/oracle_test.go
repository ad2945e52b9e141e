package torqueaudit

import (
	"google.golang.org/protobuf/proto"

	jobv1 "ramprow/proto/ramprow/job/v1"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// place is one bolt at one stage of one joint.
type place struct {
	joint           string
	fastener, stage uint32
}

// oracle is what a search over the bare events knows of one sheet, in a way of
// its own: no track, no state.
type oracle struct {
	due      []*jobv1.JointDue
	readings map[place]map[uint32]bool // numbers of those that count
	departed map[string]bool
	signed   bool
}

// unproved searches the events for what a complete sheet needs. It says what
// is missing.
func unproved(log []proto.Message) string {
	o := &oracle{readings: map[place]map[uint32]bool{}, departed: map[string]bool{}}
	for _, m := range log {
		o.see(m)
	}
	if !o.signed && len(o.due) > 0 {
		return "nobody signed"
	}
	for _, d := range o.due {
		if why := o.lacks(d); why != "" && !o.departed[d.GetJoint()] {
			return d.GetJoint() + " " + why
		}
	}
	return ""
}

func (o *oracle) see(m proto.Message) {
	switch m := m.(type) {
	case *pb.SheetOpened:
		o.due, o.signed = m.GetJoints(), false
	case *pb.SheetRevised:
		o.due, o.signed = m.GetJoints(), false
	case *pb.SheetReopened:
		o.signed = false
		for _, id := range m.GetJoints() {
			o.forget(id)
		}
	case *pb.ReadingPosted:
		r := m.GetReading()
		at := place{r.GetJoint(), r.GetFastener(), r.GetStage()}
		if o.readings[at] == nil {
			o.readings[at] = map[uint32]bool{}
		}
		o.readings[at][r.GetNumber()] = r.GetCounts() && r.GetWrench() == bigWrench && r.GetVerdict() == pb.Verdict_VERDICT_CONFORMS
	case *pb.ReadingCorrected:
		r := m.GetBy()
		delete(o.readings[place{r.GetJoint(), r.GetFastener(), r.GetStage()}], m.GetNumber())
	case *pb.DepartureSigned:
		o.departed[m.GetJoint()] = m.GetDeparture().GetFirstPerson() != m.GetDeparture().GetSecondPerson()
	case *pb.SheetSigned:
		o.signed = m.GetBy() != ""
	}
}

func (o *oracle) forget(joint string) {
	delete(o.departed, joint)
	for at := range o.readings {
		if at.joint == joint {
			delete(o.readings, at)
		}
	}
}

// lacks says what one joint of a known design still needs.
func (o *oracle) lacks(d *jobv1.JointDue) string {
	if len(d.GetDesigns()) != 1 {
		return "has no known design"
	}
	for f := uint32(1); f <= d.GetFasteners(); f++ {
		for st := range d.GetDesigns()[0].GetStages() {
			if !anyCounts(o.readings[place{d.GetJoint(), f, uint32(st + 1)}]) {
				return "lacks a reading"
			}
		}
	}
	return ""
}

func anyCounts(readings map[uint32]bool) bool {
	for _, counts := range readings {
		if counts {
			return true
		}
	}
	return false
}
