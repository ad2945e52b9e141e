package torqueaudit

import (
	"fmt"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/readmodel"
	"ramprow/internal/platform/shelf"
	"ramprow/internal/platform/sitelog"
	logv1 "ramprow/proto/ramprow/log/v1"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// shelves say where the things are that have left the state: sheets, by job, and
// look-backs.
type shelves struct{ sheets, lookBacks shelf.Shelf }

func jobName(number uint64) string { return fmt.Sprintf("jobs/%d", number) }

func lookBackName(number uint64) string { return fmt.Sprintf("lookbacks/%d", number) }

// of gives the shelf of a sheet, which goes by its job, or of a look-back, and
// its number there; nil: it never leaves.
func (s *shelves) of(name string) (*shelf.Shelf, uint64) {
	number := shelf.Number(name)
	switch {
	case number == 0:
	case name == jobName(number):
		return &s.sheets, number
	case name == lookBackName(number):
		return &s.lookBacks, number
	}
	return nil, 0
}

// archived gives the error that brings a sheet (by job) or a look-back back; nil
// if it is not archived.
func (s *State) archived(name string) *sitelog.ArchivedError {
	if on, number := s.shelves.of(name); on != nil {
		return on.Find(number, name)
	}
	return nil
}

// noteSheet notes after an event whether a sheet may leave.
func (s *State) noteSheet(job string, at time.Time) {
	switch sh := s.sheets[job]; {
	case sh == nil || jobName(sh.number()) != job:
	case s.mayLeave(sh):
		s.shelves.sheets.Settle(sh.number(), at)
	default:
		s.shelves.sheets.Stay(sh.number())
	}
}

// mayLeave tells whether nothing can put a sheet in doubt any more by itself: it
// is signed or void, in no open look-back, no joint is to be checked again once
// the car has run, and every wrench whose readings count has passed a check
// since, so that no later failure looks back so far.
func (s *State) mayLeave(sh *sheet) bool {
	if !sh.complete && !sh.void || len(s.doubted[sh.job]) > 0 || s.rechecking[sh.job] {
		return false
	}
	for _, j := range sh.joints {
		for _, r := range j.restsOn() {
			if stands(r) && r.GetAt().AsTime().After(s.wrenches[r.GetWrench()].lastGood()) {
				return false
			}
		}
	}
	return true
}

// noteChecked lets sheets rest that waited for a check of a wrench.
func (s *State) noteChecked(at time.Time) {
	for job, sh := range s.sheets {
		if !s.shelves.sheets.Rests(sh.number()) {
			s.noteSheet(job, at)
		}
	}
}

// settleLookBack notes whether a look-back may leave: the owner has seen it, and
// no joint in it is open.
func (s *State) settleLookBack(name string, at time.Time) {
	if l := s.renderLookBack(s.lookBacks[name]); l.GetSeenBy() != "" && l.GetOpen() == 0 {
		s.shelves.lookBacks.Settle(shelf.Number(name), at)
	} else {
		s.shelves.lookBacks.Stay(shelf.Number(name))
	}
}

func (s *shelves) due() (time.Time, bool) { return shelf.Due(&s.sheets, &s.lookBacks) }

// archiveRipe archives what has rested: look-backs first, because their sheets
// wait for them.
func (s *State) archiveRipe(now time.Time) ([]proto.Message, error) {
	events, err := s.shelves.lookBacks.Archive(now, lookBackName, func(n uint64) proto.Message {
		return &pb.LookBackRecord{LookBack: s.renderLookBack(s.lookBacks[lookBackName(n)])}
	})
	if err != nil || len(events) > 0 {
		return events, err
	}
	return s.shelves.sheets.Archive(now, jobName, func(n uint64) proto.Message { return s.sheets[jobName(n)].record() })
}

// archive lets a thing leave. An event without a record puts back what was only
// brought back to be looked at.
func (s *State) archive(m *logv1.Archived, commit uint64, at time.Time) {
	on, number := s.shelves.of(m.GetName())
	if m.GetStays() {
		on.Stay(number)
		return
	}
	on.File(number, commit, at)
	left := len(m.GetRecord()) > 0
	if on == &s.shelves.sheets {
		if left {
			s.history.keep(s.sheets[m.GetName()], commit)
		}
		s.uses.leave(s.sheets[m.GetName()])
		delete(s.sheets, m.GetName())
		return
	}
	l := s.lookBacks[m.GetName()]
	delete(s.lookBacks, m.GetName())
	if left {
		for _, line := range l.doc.GetLines() {
			s.undoubt(line.GetJob(), m.GetName())
			s.noteSheet(line.GetJob(), at)
		}
	}
}

func (s *State) recall(m *logv1.Recalled, at time.Time) {
	on, number := s.shelves.of(m.GetName())
	on.Recall(number, at)
	if on == &s.shelves.sheets {
		var r pb.SheetRecord
		sitelog.Unpack(m.GetRecord(), &r)
		s.sheets[m.GetName()] = recorded(&r)
		s.uses.comeBack(s.sheets[m.GetName()])
		return
	}
	var r pb.LookBackRecord
	sitelog.Unpack(m.GetRecord(), &r)
	s.lookBacks[m.GetName()] = lookBack{doc: r.GetLookBack(), settled: true}
}

// record is everything of a sheet that does not follow from the rest.
func (s *sheet) record() *pb.SheetRecord {
	r := &pb.SheetRecord{
		Job: s.job, Vehicle: s.vehicle, Vin: s.vin, Customer: s.customer, Notice: s.notice, Revision: s.revision, Readings: s.readings,
		Complete: s.complete, Reopened: s.reopened, Void: s.void, SignedBy: s.signedBy, SignedAt: stamp(s.signedAt),
		Opened: timestamppb.New(s.opened), Since: timestamppb.New(s.since), OdometerKm: s.odometer, Car: s.pseudonym,
	}
	for _, j := range s.joints {
		r.Joints = append(r.Joints, &pb.JointRecord{
			Due: j.due, Readings: j.readings, From: small(j.from), Ready: j.ready, Dropped: j.dropped, Proved: j.proved,
			Departure: j.departure, Residuals: j.residuals, Curves: j.curves,
			Rechecks: j.rechecks, RecheckFrom: small(j.recheckFrom), Renewals: j.renewals, UseCounts: j.useCounts,
		})
	}
	return r
}

func recorded(r *pb.SheetRecord) *sheet {
	s := &sheet{
		job: r.GetJob(), vehicle: r.GetVehicle(), vin: r.GetVin(), customer: r.GetCustomer(), notice: r.GetNotice(),
		revision: r.GetRevision(), readings: r.GetReadings(), complete: r.GetComplete(), reopened: r.GetReopened(), void: r.GetVoid(),
		signedBy: r.GetSignedBy(), opened: r.GetOpened().AsTime(), since: r.GetSince().AsTime(), odometer: r.GetOdometerKm(),
		pseudonym: r.GetCar(),
	}
	if r.GetSignedAt() != nil {
		s.signedAt = r.GetSignedAt().AsTime()
	}
	for _, jr := range r.GetJoints() {
		j := &joint{
			due: jr.GetDue(), readings: jr.GetReadings(), from: int(jr.GetFrom()), ready: jr.GetReady(), dropped: jr.GetDropped(),
			proved: jr.GetProved(), departure: jr.GetDeparture(), residuals: jr.GetResiduals(), curves: jr.GetCurves(),
			rechecks: jr.GetRechecks(), recheckFrom: int(jr.GetRecheckFrom()), renewals: jr.GetRenewals(), useCounts: jr.GetUseCounts(),
		}
		j.replay()
		s.joints = append(s.joints, j)
	}
	return s
}

// archive says which rows belong to what may have left the state.
func archive() *readmodel.Archive[*State] {
	return &readmodel.Archive[*State]{
		Find: (*State).archived,
		All: func(s *State) []string {
			var names []string
			for _, number := range s.shelves.sheets.All() {
				names = append(names, jobName(number))
			}
			for _, number := range s.shelves.lookBacks.All() {
				names = append(names, lookBackName(number))
			}
			return names
		},
		RowsOf: func(_ *State, name string) []readmodel.Key {
			if strings.HasPrefix(name, "jobs/") {
				return []readmodel.Key{{Model: modelSheet, ID: name}, {Model: modelSummary, ID: name}}
			}
			return []readmodel.Key{{Model: modelDoubt, ID: name}}
		},
		Of: func(key readmodel.Key) string {
			switch key.Model {
			case modelSheet, modelSummary, modelDoubt:
				return key.ID
			}
			return ""
		},
		Lists: func(_ *State, model, index, _ string) (string, bool) {
			return "", index == indexAll && (model == modelSummary || model == modelDoubt)
		},
	}
}
