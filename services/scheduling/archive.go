package scheduling

import (
	"fmt"
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/readmodel"
	"ramprow/internal/platform/shelf"
	"ramprow/internal/platform/sitelog"
	logv1 "ramprow/proto/ramprow/log/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

func jobName(number uint64) string { return fmt.Sprintf("jobs/%d", number) }

// archiveRipe archives jobs that are over and of which nothing was heard for a while.
func (st *State) archiveRipe(now time.Time) ([]proto.Message, error) {
	return st.shelf.Archive(now, jobName, func(number uint64) proto.Message {
		w := st.ended[jobName(number)]
		return &schedulingv1.WorkRecord{Demand: w.demand, Booking: w.booking}
	})
}

func (st *State) archive(m *logv1.Archived, commit uint64, at time.Time) {
	number := shelf.Number(m.GetName())
	if m.GetStays() {
		st.shelf.Stay(number)
		return
	}
	if end := timeOf(st.ended[m.GetName()].booking.GetWhen().GetEnd()); end.After(st.archivedTo) {
		st.archivedTo = end
	}
	delete(st.ended, m.GetName())
	st.shelf.File(number, commit, at)
}

func (st *State) recall(m *logv1.Recalled, at time.Time) {
	var r schedulingv1.WorkRecord
	sitelog.Unpack(m.GetRecord(), &r)
	st.ended[m.GetName()] = &work{demand: r.GetDemand(), booking: r.GetBooking()}
	st.shelf.Recall(shelf.Number(m.GetName()), at)
}

// archived gives the error that brings a job back; nil if it is not archived.
func (st *State) archived(job string) *sitelog.ArchivedError {
	if number := shelf.Number(job); number > 0 && job == jobName(number) {
		return st.shelf.Find(number, job)
	}
	return nil
}

// archive says which rows belong to jobs that may have left the state.
func archive() *readmodel.Archive[*State] {
	return &readmodel.Archive[*State]{
		Find: (*State).archived,
		All: func(st *State) []string {
			var jobs []string
			for _, number := range st.shelf.All() {
				jobs = append(jobs, jobName(number))
			}
			return jobs
		},
		RowsOf: func(_ *State, job string) []readmodel.Key { return []readmodel.Key{bookingKey(job)} },
		Of: func(key readmodel.Key) string {
			if key.Model != modelBooking {
				return ""
			}
			return jobName(shelf.Number(key.ID))
		},
		Lists: func(st *State, model, index, prefix string) (string, bool) {
			switch {
			case model != modelBooking:
			case index == indexAll:
				return "", true
			case index == indexDay:
				return "", prefix <= st.archivedTo.Format(time.DateOnly)
			}
			return "", false
		},
	}
}
