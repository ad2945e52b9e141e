package torqueaudit

import (
	"cmp"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/sitelog"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// remindBefore is how long before a calibration is due it is reminded of:
// common practice, no source.
const remindBefore = 30 * 24 * time.Hour

// reminder is what was said about a due date.
type reminder struct {
	Due     time.Time
	Overdue bool
}

// calibrationDue is when the calibration in force ends; zero if there is none.
func (w *wrench) calibrationDue() time.Time {
	for _, c := range slices.Backward(w.checks) {
		if c.GetCalibration() && c.GetPassed() && c.GetCalibrationDue() != nil {
			return c.GetCalibrationDue().AsTime()
		}
	}
	return time.Time{}
}

// remindAt is when the next reminder is due: once before the date, once on it.
func (w *wrench) remindAt() (time.Time, bool) {
	due := w.calibrationDue()
	switch {
	case w.tool.GetRetired() || due.IsZero():
		return time.Time{}, false
	case !w.reminded.Due.Equal(due):
		return due.Add(-remindBefore), true
	case !w.reminded.Overdue:
		return due, true
	}
	return time.Time{}, false
}

// due gives the time of the earliest reminder, or at which something settled may leave.
func due(s *State) (earliest time.Time, pending bool) {
	earliest, pending = s.shelves.due()
	if at, ok := s.recheckDue(); ok && (!pending || at.Before(earliest)) {
		earliest, pending = at, true
	}
	for _, w := range s.wrenches {
		if at, ok := w.remindAt(); ok && (!pending || at.Before(earliest)) {
			earliest, pending = at, true
		}
	}
	return earliest, pending
}

// fire reminds of every calibration and every re-check that is due soon, or due,
// and lets leave what is settled.
func fire(s *State, in sitelog.Input) ([]proto.Message, error) {
	var events []proto.Message
	for name, w := range s.wrenches {
		if at, ok := w.remindAt(); ok && !at.After(in.Now) {
			due := w.calibrationDue()
			events = append(events, &pb.WrenchReminded{Wrench: name, DueAt: timestamppb.New(due), Overdue: !in.Now.Before(due)})
		}
	}
	slices.SortFunc(events, func(a, b proto.Message) int { return cmp.Compare(reminded(a), reminded(b)) })
	events = append(events, s.remindRechecks(in)...)
	archived, err := s.archiveRipe(in.Now)
	return append(events, archived...), err
}

func reminded(m proto.Message) string {
	if r, ok := m.(*pb.WrenchReminded); ok {
		return r.GetWrench()
	}
	return ""
}
