package torqueaudit

import (
	"cmp"
	"maps"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/personal"
	"ramprow/internal/platform/sitelog"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// uses counts how often the fasteners of a car's joints were tightened, if they
// have a limit, by car. A car is known again over its jobs by its pseudonym, or
// by a VIN in the open; a sealed VIN differs from job to job, so such counts hold
// within the job only, and leave with its sheet.
type uses map[string]carUses

// carUses are counts by joint and fastener.
type carUses struct {
	Joints map[string][]uint32
	// Last is when one of them changed.
	Last time.Time
}

// usedByMaker is what a fastener has behind it when it is first met: the
// maker's own tightening. Common practice, no source.
const usedByMaker = 1

// maxCarsCounted bounds the counts of a site: beyond, the car goes whose bolts
// were tightened longest ago. If it comes again, they count as when first met.
const maxCarsCounted = 20_000

func (u uses) clone() uses {
	copied := make(uses, len(u))
	for car, counted := range u {
		copied[car] = carUses{Joints: maps.Clone(counted.Joints), Last: counted.Last}
	}
	return copied
}

// car names the car of a sheet over its jobs.
func (s *sheet) car() string {
	return cmp.Or(s.pseudonym, s.vin, s.vehicle)
}

// of gives the counts of a joint's fasteners. A sheet remembers its own, should
// its car have gone meanwhile.
func (u uses) of(sh *sheet, j *joint) []uint32 {
	known := u[sh.car()].Joints[j.due.GetJoint()]
	if known == nil {
		known = j.useCounts
	}
	counts := slices.Clone(known)
	for len(counts) < int(j.due.GetFasteners()) {
		counts = append(counts, usedByMaker)
	}
	return counts
}

// leave forgets what holds for a sheet's job only, and comeBack takes it from
// the sheet again.
func (u uses) leave(sh *sheet) {
	if personal.Sealed(sh.car()) {
		delete(u, sh.car())
	}
}

func (u uses) comeBack(sh *sheet) {
	if !personal.Sealed(sh.car()) {
		return
	}
	for _, j := range sh.joints {
		if len(j.useCounts) > 0 {
			u.set(sh, j, j.useCounts)
		}
	}
}

func (u uses) set(sh *sheet, j *joint, counts []uint32) {
	counted := u[sh.car()]
	if counted.Joints == nil {
		counted.Joints = map[string][]uint32{}
		u.makeRoom()
	}
	counted.Joints[j.due.GetJoint()], counted.Last = counts, sh.since
	u[sh.car()] = counted
}

// makeRoom lets the car go whose counts changed longest ago, if there are too many.
func (u uses) makeRoom() {
	if len(u) < maxCarsCounted {
		return
	}
	oldest := ""
	for car, counted := range u {
		if oldest == "" || counted.Last.Before(u[oldest].Last) || counted.Last.Equal(u[oldest].Last) && car < oldest {
			oldest = car
		}
	}
	delete(u, oldest)
}

// noteUses follows the events that begin a use of a fastener, take one back or
// put new fasteners in; and shows a sheet what was counted before.
func (s *State) noteUses(sh *sheet, m proto.Message) {
	switch m := m.(type) {
	case *pb.SheetOpened, *pb.SheetRevised:
		for _, j := range sh.live() {
			if j.due.GetUses() > 0 {
				j.useCounts = s.uses.of(sh, j)
			}
		}
	case *pb.ReadingPosted:
		if r := m.GetReading(); r.GetUse() > 0 {
			s.count(sh, r.GetJoint(), func(counts []uint32) { counts[r.GetFastener()-1] = r.GetUse() })
		}
	case *pb.ReadingCorrected:
		if wrong := sh.reading(m.GetNumber()); wrong.GetUse() > 0 {
			s.count(sh, wrong.GetJoint(), func(counts []uint32) { counts[wrong.GetFastener()-1] -= min(1, counts[wrong.GetFastener()-1]) })
		}
	case *pb.FastenersRenewed:
		s.count(sh, m.GetJoint(), func(counts []uint32) {
			for _, f := range m.GetRenewal().GetFasteners() {
				counts[f-1] = 0
			}
		})
	}
}

func (s *State) count(sh *sheet, id string, change func([]uint32)) {
	j := sh.find(id)
	counts := s.uses.of(sh, j)
	change(counts)
	s.uses.set(sh, j, counts)
	j.useCounts = counts
}

// renew shows new fasteners on the sheet.
func (j *joint) renew(r *pb.FastenersRenewal) {
	j.renewals = append(slices.Clip(j.renewals), r)
}

// nextUse is which use of a fastener a reading would begin; 0: none, or there
// is no limit. A fastener that has had all its uses is refused.
func (s *State) nextUse(sh *sheet, j *joint, fastener uint32) (uint32, error) {
	limit := j.due.GetUses()
	if limit == 0 || fastener < 1 || fastener > j.due.GetFasteners() || !j.track.Untouched(int(fastener)) {
		return 0, nil
	}
	next := s.uses.of(sh, j)[fastener-1] + 1
	if next > limit {
		f := fault.New(fault.Precondition, "FASTENER_USED_UP",
			"bolt %d of %s has had %d of its %d uses, the maker's tightening included; fit a new one and say so: ramprow tighten renew",
			fastener, j.due.GetTitle(), next-1, limit).With("job", sh.job).With("joint", j.due.GetJoint())
		return 0, f.WithUnmet(fault.Unmet{Type: "FASTENER_USED_UP", Subject: sh.name() + "/joints/" + j.due.GetJoint(), Description: f.Message})
	}
	return next, nil
}

// decideRenewFasteners keeps that new fasteners were put in.
func decideRenewFasteners(st *State, in sitelog.Input, req *pb.RenewFastenersRequest) ([]proto.Message, *pb.RenewFastenersResponse, error) {
	sh, err := st.open(req.GetJob())
	if err != nil {
		return nil, nil, err
	}
	j, err := sh.joint(req.GetJoint())
	if err != nil {
		return nil, nil, err
	}
	if j.due.GetUses() == 0 {
		return nil, nil, fault.New(fault.Precondition, "USES_NOT_COUNTED", "the fasteners of %s have no limit to their uses; nothing is counted, and nothing needs to be said", j.due.GetTitle()).
			With("joint", req.GetJoint())
	}
	fasteners := slices.Sorted(slices.Values(req.GetFasteners()))
	if len(fasteners) == 0 {
		for f := uint32(1); f <= j.due.GetFasteners(); f++ {
			fasteners = append(fasteners, f)
		}
	}
	if fasteners[0] < 1 || fasteners[len(fasteners)-1] > j.due.GetFasteners() {
		return nil, nil, fault.New(fault.Invalid, "FASTENER_UNKNOWN", "%s has bolts 1 to %d", j.due.GetTitle(), j.due.GetFasteners()).
			WithField("fasteners", "must be from 1 to %d", j.due.GetFasteners())
	}
	if len(j.renewals) >= maxRenewals {
		return nil, nil, full("RENEWALS_FULL", "%s had %d renewals noted in this job, which is no workshop's day; look for the mistake", j.due.GetTitle(), maxRenewals)
	}
	renewed := &pb.FastenersRenewed{Job: sh.job, Joint: req.GetJoint(), Renewal: &pb.FastenersRenewal{
		Fasteners: fasteners, By: in.Actor.Person, At: timestamppb.New(in.Now),
	}}
	after := sh.after(in, renewed)
	counts := st.uses.of(sh, j)
	for _, f := range fasteners {
		counts[f-1] = 0
	}
	after.find(req.GetJoint()).useCounts = counts
	return []proto.Message{renewed}, &pb.RenewFastenersResponse{Sheet: after.render()}, nil
}
