package job

import (
	"maps"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/engine/flow"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// staysKept is how many finished stays the figures can look back on, at least: the newest. Older ones go staysDropped at
// a time.
const (
	staysKept    = 1000
	staysDropped = 100
)

// stays is what is kept of every job's way through the workshop for the owner's figures.
type stays struct {
	Open map[string]*stay // by job
	Past []flow.Visit     // in the order in which they ended
	// Dropped is when the newest stay ended that is no longer kept; zero: all are.
	Dropped time.Time
	// Clock is the latest time that the log has told: where a writer's clock goes back, this one stands still.
	Clock time.Time
}

func (s *stays) tick(at time.Time) {
	if at.After(s.Clock) {
		s.Clock = at
	}
}

// stay is a job's way so far, and what its next mark depends on.
type stay struct {
	flow.Visit

	// Untold: the customer has authorised and was not told yet when the car is done.
	Untold bool
	// Again: what is done from now on was thought finished before.
	Again bool
	// Proved: the last road test was passed and nothing was repaired since.
	Proved bool
}

// follow marks where an event left a job. The job is as it is after the event.
func (s *stays) follow(j *Job, m proto.Message) {
	v := s.Open[j.Name]
	if v == nil {
		if _, opened := m.(*jobv1.JobOpened); !opened {
			return // it has ended
		}
		v = &stay{Visit: flow.Visit{Number: j.Number}}
		s.Open[j.Name] = v
	}
	bay := v.Last().Bay
	switch m := m.(type) {
	case *jobv1.JobOpened, *jobv1.VehicleReceived, *jobv1.PartsNoted, *jobv1.StepPaused, *jobv1.StepResumed, *jobv1.StepDone, *jobv1.DesignFound:
	case *jobv1.DiagnosisConfirmed:
		v.need(m.GetPlan())
	case *jobv1.PlanRevised:
		v.need(m.GetPlan())
		v.Again = v.Again || len(m.GetAgain()) > 0
		v.Proved = false
	case *jobv1.WorkAuthorised:
		v.Untold = true
		v.promise(j)
	case *jobv1.BookingNoted:
		v.promise(j)
		if bay != "" && m.GetStatus().GetBay() != "" {
			bay = m.GetStatus().GetBay()
		}
	case *jobv1.StepStarted:
		if bay == "" {
			bay = j.Booking.GetBay()
		}
		v.Proved = false
	case *jobv1.WorkFinished:
		v.Again, bay = true, ""
	case *jobv1.RoadTestRecorded:
		v.Proved = m.GetTest().GetPassed()
	case *jobv1.InvoiceClosed:
		s.end(v, j, s.Clock, false)
		return
	case *jobv1.JobCancelled:
		s.end(v, j, s.Clock, true)
		return
	default:
		return
	}
	if j.Received || len(j.Progress) > 0 {
		v.Note(v.mark(j, s.Clock, bay))
	}
}

func (v *stay) need(p *jobv1.Plan) {
	v.Needs = flow.Needs{BayKinds: p.GetBayKinds(), Skills: p.GetSkills()}
}

// promise notes what the customer is told: what stands when he authorises, or else the first that stands afterwards.
func (v *stay) promise(j *Job) {
	promised := j.Booking.GetPromised()
	if promised == nil {
		promised = j.Booking.GetWhen().GetEnd() // as older events have it
	}
	if v.Untold && promised != nil {
		v.Promised, v.Untold = promised.AsTime().UnixNano(), false
	}
}

func (v *stay) mark(j *Job, at time.Time, bay string) flow.Mark {
	m := flow.Mark{At: at.UnixNano(), Bay: bay, Hands: j.hands(), Rework: v.Again}
	switch {
	case j.Plan == nil:
		return m
	case j.FinishedAt.IsZero():
		m.Phase = flow.Repair
	case v.Proved:
		m.Phase = flow.Billing
	default:
		m.Phase = flow.Proving
	}
	if j.authorised() < j.estimate() {
		m.Lacks |= flow.LacksAuthority
	}
	if len(j.Plan.GetParts()) > 0 && (j.Parts == nil || j.Parts.GetState() == jobv1.PartsState_PARTS_STATE_SHORT) {
		m.Lacks |= flow.LacksParts
	}
	return m
}

// hands are those who work at the car now.
func (j *Job) hands() string {
	var people []string
	for _, p := range j.Progress {
		if !p.RunningAt.IsZero() {
			people = append(people, p.By)
		}
	}
	return flow.Hands(people)
}

// end files a stay. A job whose car never came leaves nothing.
func (s *stays) end(v *stay, j *Job, at time.Time, cancelled bool) {
	delete(s.Open, j.Name)
	if len(v.Marks) == 0 && cancelled {
		return
	}
	if len(v.Marks) == 0 {
		v.Note(v.mark(j, at, ""))
	}
	v.sum(j)
	v.End(at.UnixNano(), cancelled)
	v.Marks = slices.Clip(v.Marks)
	s.Past = append(s.Past, v.Visit)
	if len(s.Past) >= staysKept+staysDropped {
		for _, old := range s.Past[:staysDropped] {
			if ended := time.Unix(0, old.Ended).UTC(); ended.After(s.Dropped) {
				s.Dropped = ended
			}
		}
		s.Past = slices.Clone(s.Past[staysDropped:])
	}
}

// sum takes over what the job says as a whole.
func (v *stay) sum(j *Job) {
	v.Quoted, v.Taken = 0, 0
	for _, step := range j.Plan.GetSteps() {
		v.Quoted += meanOf(step.GetEffort())
	}
	for _, taken := range j.timeTaken() {
		v.Taken += taken
	}
	if !j.FinishedAt.IsZero() {
		v.Finished = j.FinishedAt.UnixNano()
	}
	v.Tightened, v.FirstTime = j.Audit.GetTightened(), j.Audit.GetFirstTime()
}

// clone shares the marks, which are only ever added to.
func (s *stays) clone() stays {
	c := stays{Open: make(map[string]*stay, len(s.Open)), Past: slices.Clone(s.Past), Dropped: s.Dropped, Clock: s.Clock}
	for name, v := range s.Open {
		copied := *v
		copied.Marks = slices.Clip(v.Marks)
		c.Open[name] = &copied
	}
	return c
}

// visits are all stays as they are now; later events do not change what is given.
func (s *stays) visits() []flow.Visit {
	all := slices.Clone(s.Past)
	for _, name := range slices.Sorted(maps.Keys(s.Open)) {
		all = append(all, s.Open[name].Visit)
	}
	return all
}
