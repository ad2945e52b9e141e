package job

import (
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/catalogue"
	"ramprow/internal/platform/sitelog"
	jobv1 "ramprow/proto/ramprow/job/v1"
	logv1 "ramprow/proto/ramprow/log/v1"
)

// happening is when and by whom an event came about.
type happening struct {
	at     time.Time
	by     string
	trace  string
	commit uint64
}

func evolve(s *State, e sitelog.Event) {
	h := happening{at: e.Time, by: e.Actor.Person, trace: e.TraceID, commit: e.Number}
	s.stays.tick(h.at)
	switch m := e.Message.(type) {
	case *jobv1.CatalogueImported:
		s.importEdition(m)
	case *jobv1.JobOpened:
		j := openedJob(m, h)
		s.jobs[j.Name] = j
		s.lastJob = max(s.lastJob, j.Number)
		j.tell(m, h)
		s.stays.follow(j, m)
	case *jobv1.HoursNoted:
		s.hours.note(m.GetHours(), s.stays.Clock)
	case *jobv1.SiteHoursNoted:
		s.site = m.GetSite()
	case *jobv1.SellerSet:
		s.seller = m.GetSeller()
	case *jobv1.CaseStruck:
		s.lessons.mark(m.GetCase(), true, m.GetReason(), h)
		s.times = sumUp(&s.lessons)
	case *jobv1.CaseRestored:
		s.lessons.mark(m.GetCase(), false, m.GetReason(), h)
		s.times = sumUp(&s.lessons)
	case numbered:
		s.invoices[m.GetSeries()] = max(s.invoices[m.GetSeries()], m.GetSequence())
		s.evolveJob(m, h)
		if _, closed := m.(*jobv1.InvoiceClosed); closed {
			s.learn(m.GetJob(), h)
		}
	case ofJob:
		s.evolveJob(m, h)
	case *logv1.Archived:
		s.archive(m, e.Number, e.Time)
	case *logv1.Recalled:
		s.recall(m, e.Time)
	}
}

// ofJob is every event that belongs to one job.
type ofJob interface {
	proto.Message
	GetJob() string
}

// numbered is every event that uses the next number of a series.
type numbered interface {
	ofJob
	GetSeries() string
	GetSequence() uint64
}

func (s *State) evolveJob(m ofJob, h happening) {
	j, ok := s.jobs[m.GetJob()]
	if !ok {
		return
	}
	j.apply(m, h)
	s.stays.follow(j, m)
	if j.finished() {
		s.shelf.Settle(j.Number, h.at)
	}
}

// importEdition keeps an edition with its lookups. It was checked before the
// event was written; an edition that cannot be prepared any more (a stricter
// program than the one that wrote it) still may not stop the log.
func (s *State) importEdition(m *jobv1.CatalogueImported) {
	c := catalogue.Prepared(m.GetCatalogue(), m.GetVersion())
	s.editions[m.GetVersion()] = c
	id := m.GetCatalogue().GetId()
	if before, ok := s.editions[s.newest[id]]; !ok || before.Message().GetEdition() <= m.GetCatalogue().GetEdition() {
		s.newest[id] = m.GetVersion()
	}
}

// apply changes the job by one event and adds it to its story.
func (j *Job) apply(m proto.Message, h happening) {
	switch {
	case j.applyIntake(m, h):
	case j.applyWork(m, h):
	case j.applyThings(m):
	case j.applyNews(m):
	case j.applyEnd(m, h):
	case j.applyBilling(m):
	case j.applyErasure(m):
	}
	j.UpdatedAt = h.at
	j.tell(m, h)
}

// clock gives the time of a timestamp, zero for an absent one.
func clock(t interface {
	IsValid() bool
	AsTime() time.Time
},
) time.Time {
	if !t.IsValid() {
		return time.Time{}
	}
	return t.AsTime()
}
