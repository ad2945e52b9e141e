package torqueaudit

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"ramprow/internal/platform/shelf"
	"ramprow/internal/platform/statecode"
	jobv1 "ramprow/proto/ramprow/job/v1"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// foldVersion is raised when evolve makes something else of the same events, so
// that snapshots of the old fold are not used.
const foldVersion = 3

// kept is what a snapshot holds of a site. Tracks follow from the readings.
type kept struct {
	Sheets   []keptSheet
	Wrenches map[string]keptWrench
	// LookBacks are never changed in place. Made counts all of them.
	LookBacks                       []*pb.LookBack
	Made                            uint64
	ShelvedSheets, ShelvedLookBacks shelf.Kept
	History                         history
	// Uses of fasteners that may be used a number of times, by car and joint.
	Uses uses
}

type keptSheet struct {
	Job, Vehicle             string
	Vin, Customer, Notice    string
	Pseudonym                string
	Revision, Readings       uint32
	Joints                   []keptJoint
	Complete, Reopened, Void bool
	SignedBy                 string
	SignedAt, Opened, Since  time.Time
	Odometer                 float64
}

type keptJoint struct {
	Due                    *jobv1.JointDue
	Readings               []*pb.Reading
	From                   int
	Ready, Dropped, Proved bool
	Departure              *pb.Departure
	Residuals              []*pb.Residual
	Curves                 []*pb.Curve
	Rechecks               []*pb.JointRecheck
	RecheckFrom            int
	Renewals               []*pb.FastenersRenewal
	UseCounts              []uint32
}

type keptWrench struct {
	Tool   *pb.Wrench
	Checks []*pb.WrenchCheck
	Cycles uint64
	// Reminded is what was said last about its due date.
	Reminded reminder
}

// snapshot copies what evolve changes in place. Messages are shared, and so are
// the lists that are only ever added to.
func snapshot(s *State) func() ([]byte, error) {
	k := kept{
		Sheets: make([]keptSheet, 0, len(s.sheets)), Wrenches: make(map[string]keptWrench, len(s.wrenches)), Uses: s.uses.clone(),
		Made: s.made, ShelvedSheets: s.shelves.sheets.Keep(), ShelvedLookBacks: s.shelves.lookBacks.Keep(), History: slices.Clip(s.history),
	}
	for _, l := range s.lookBacks {
		k.LookBacks = append(k.LookBacks, l.doc)
	}
	for _, sh := range s.sheets {
		k.Sheets = append(k.Sheets, keepSheet(sh))
	}
	for name, w := range s.wrenches {
		k.Wrenches[name] = keptWrench{Tool: w.tool, Checks: slices.Clip(w.checks), Cycles: w.cycles, Reminded: w.reminded}
	}
	return func() ([]byte, error) {
		slices.SortFunc(k.Sheets, func(a, b keptSheet) int { return strings.Compare(a.Job, b.Job) })
		slices.SortFunc(k.LookBacks, func(a, b *pb.LookBack) int { return cmp.Compare(shelf.Number(a.GetName()), shelf.Number(b.GetName())) })
		return statecode.Encode(&k)
	}
}

func keepSheet(s *sheet) keptSheet {
	k := keptSheet{
		Job: s.job, Vehicle: s.vehicle, Revision: s.revision, Readings: s.readings,
		Vin: s.vin, Customer: s.customer, Notice: s.notice, Pseudonym: s.pseudonym,
		Joints:   make([]keptJoint, 0, len(s.joints)),
		Complete: s.complete, Reopened: s.reopened, Void: s.void,
		SignedBy: s.signedBy, SignedAt: s.signedAt, Opened: s.opened, Since: s.since, Odometer: s.odometer,
	}
	for _, j := range s.joints {
		k.Joints = append(k.Joints, keptJoint{
			Due: j.due, Readings: slices.Clip(j.readings), From: j.from,
			Ready: j.ready, Dropped: j.dropped, Proved: j.proved, Departure: j.departure, Residuals: slices.Clip(j.residuals), Curves: slices.Clip(j.curves),
			Rechecks: slices.Clone(j.rechecks), RecheckFrom: j.recheckFrom, Renewals: slices.Clip(j.renewals), UseCounts: slices.Clone(j.useCounts),
		})
	}
	return k
}

func restore(_ string, data []byte) (*State, error) {
	var k kept
	if err := statecode.Decode(data, &k); err != nil {
		return nil, err
	}
	s := newState()
	for _, ks := range k.Sheets {
		s.sheets[ks.Job] = ks.sheet()
		s.noteRechecks(s.sheets[ks.Job])
	}
	for name, w := range k.Wrenches {
		s.wrenches[name] = &wrench{tool: w.Tool, checks: w.Checks, cycles: w.Cycles, reminded: w.Reminded}
	}
	if k.Uses != nil {
		s.uses = k.Uses
	}
	for _, l := range k.LookBacks {
		s.noteLookBack(l)
	}
	s.made, s.history = k.Made, k.History
	s.shelves = shelves{sheets: k.ShelvedSheets.Shelf(), lookBacks: k.ShelvedLookBacks.Shelf()}
	return s, nil
}

func (k keptSheet) sheet() *sheet {
	s := &sheet{
		job: k.Job, vehicle: k.Vehicle, revision: k.Revision, readings: k.Readings,
		vin: k.Vin, customer: k.Customer, notice: k.Notice, pseudonym: k.Pseudonym,
		complete: k.Complete, reopened: k.Reopened, void: k.Void,
		signedBy: k.SignedBy, signedAt: k.SignedAt, opened: k.Opened, since: k.Since, odometer: k.Odometer,
	}
	for _, kj := range k.Joints {
		j := &joint{
			due: kj.Due, readings: kj.Readings, from: kj.From,
			ready: kj.Ready, dropped: kj.Dropped, proved: kj.Proved, departure: kj.Departure, residuals: kj.Residuals, curves: kj.Curves,
			rechecks: kj.Rechecks, recheckFrom: kj.RecheckFrom, renewals: kj.Renewals, useCounts: kj.UseCounts,
		}
		j.replay()
		s.joints = append(s.joints, j)
	}
	return s
}
