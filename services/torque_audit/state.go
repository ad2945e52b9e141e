package torqueaudit

import (
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/engine/fastening"
	"ramprow/internal/platform/shelf"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/statecode"
	jobv1 "ramprow/proto/ramprow/job/v1"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// Service is the name of the log and of its subjects.
const Service = "torque-audit"

// State is a site's sheets and wrenches.
type State struct {
	sheets   map[string]*sheet // by job
	wrenches map[string]*wrench
	// lookBacks by name, made counts them; their messages are never changed in place.
	lookBacks  map[string]lookBack
	made       uint64
	doubted    map[string][]string // names of look-backs that are not settled, by job
	rechecking map[string]bool     // jobs with a re-check that is still to be done
	uses       uses
	// shelves say where sheets and look-backs are that have left, and history
	// keeps of their readings what charts need.
	shelves shelves
	history history
}

// lookBack is what a failed wrench put in doubt. One that came back from the
// archive stays as it was settled.
type lookBack struct {
	doc     *pb.LookBack
	settled bool
}

// sheet is the audit of one job.
type sheet struct {
	job, vehicle  string
	vin, customer string
	pseudonym     string // of the car, the same in each of its jobs; "": none
	notice        string // of the catalogue, for print
	revision      uint32
	joints        []*joint
	readings      uint32 // running number
	complete      bool
	reopened      bool
	void          bool
	signedBy      string
	signedAt      time.Time
	opened, since time.Time // since: last change
	odometer      float64   // km, when the car came in; 0: not read
}

// joint is one joint of a sheet. Its readings are only ever added to.
type joint struct {
	due      *jobv1.JointDue
	readings []*pb.Reading
	// from is the first reading that may count: those before belong to a
	// tightening that was undone.
	from      int
	ready     bool // the step that tightens it has begun
	dropped   bool
	proved    bool
	departure *pb.Departure
	residuals []*pb.Residual
	curves    []*pb.Curve
	// rechecks, oldest first; those before recheckFrom were of a tightening that
	// was undone. Messages in it are never changed in place.
	rechecks    []*pb.JointRecheck
	recheckFrom int
	renewals    []*pb.FastenersRenewal
	// useCounts is how often each fastener was used, as far as this sheet knows;
	// nil: its uses have no limit.
	useCounts []uint32
	// track is nil while the joint cannot be tightened; problem says why.
	track   *fastening.Track
	problem string
}

// wrench is one tool with its history, oldest check first.
type wrench struct {
	tool   *pb.Wrench
	checks []*pb.WrenchCheck
	cycles uint64
	// reminded is what was said last about its due date.
	reminded reminder
}

func newState() *State {
	return &State{
		sheets: map[string]*sheet{}, wrenches: map[string]*wrench{}, lookBacks: map[string]lookBack{}, doubted: map[string][]string{},
		rechecking: map[string]bool{}, uses: uses{},
	}
}

// Machine is the service as a state machine over its site's log.
func Machine() sitelog.Machine[*State] {
	return sitelog.Machine[*State]{
		Service:  Service,
		New:      func(string) *State { return newState() },
		Evolve:   evolve,
		Follows:  []string{"job"},
		React:    react,
		Due:      due,
		Fire:     fire,
		Snapshot: snapshot,
		Restore:  restore,
		Schema:   statecode.Schema[kept](foldVersion),
	}
}

// number is the job's running number, which its sheet shares.
func (s *sheet) number() uint64 { return shelf.Number(s.job) }

func (s *sheet) name() string { return "sheets/" + strings.TrimPrefix(s.job, "jobs/") }

// find gives a joint by its id, dropped ones included; nil if there is none.
func (s *sheet) find(id string) *joint {
	i := slices.IndexFunc(s.joints, func(j *joint) bool { return j.due.GetJoint() == id })
	if i < 0 {
		return nil
	}
	return s.joints[i]
}

// live gives the joints that the present plan tightens.
func (s *sheet) live() []*joint {
	return slices.DeleteFunc(slices.Clone(s.joints), func(j *joint) bool { return j.dropped })
}

// settled tells whether a joint needs nothing more.
func (j *joint) settled() bool { return j.proved || j.departure != nil }

// allSettled tells whether only the signature is missing.
func (s *sheet) allSettled() bool {
	return !slices.ContainsFunc(s.live(), func(j *joint) bool { return !j.settled() })
}

// clone gives a sheet on which events can be tried out. Messages and readings
// are shared: nobody changes one in place, and adding to the clone's readings
// makes a copy of them.
func (s *sheet) clone() *sheet {
	c := *s
	c.joints = make([]*joint, len(s.joints))
	for i, j := range s.joints {
		copied := *j
		copied.readings = slices.Clip(j.readings)
		copied.residuals, copied.curves = slices.Clip(j.residuals), slices.Clip(j.curves)
		copied.rechecks, copied.renewals = slices.Clone(j.rechecks), slices.Clip(j.renewals)
		copied.useCounts = slices.Clone(j.useCounts)
		if j.track != nil {
			copied.track = j.track.Clone()
		}
		c.joints[i] = &copied
	}
	return &c
}

// after gives the sheet as it will be once the events are on disk.
func (s *sheet) after(in sitelog.Input, events ...proto.Message) *sheet {
	return s.clone().advance(in, events...)
}

// advance applies events to a sheet that is a clone.
func (s *sheet) advance(in sitelog.Input, events ...proto.Message) *sheet {
	for _, m := range events {
		s.apply(m, in.Now)
	}
	return s
}
