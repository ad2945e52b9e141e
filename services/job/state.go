package job

import (
	"fmt"
	"strings"

	"ramprow/internal/catalogue"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/shelf"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/statecode"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// Service is the name of the log and of the role.
const Service = "job"

// State is what one site's job service knows.
type State struct {
	Site string
	// jobs by name, as in jobs/17: those that are not finished, or were lately.
	jobs map[string]*Job
	// shelf says where the others are.
	shelf shelf.Shelf
	// lastJob is the number of the newest job.
	lastJob uint64
	// editions by version; newest is the version of each catalogue's newest edition.
	editions map[string]*catalogue.Catalogue
	newest   map[string]string
	// invoices is the last number used in each series.
	invoices map[string]uint64
	lessons  lessons
	times    timesheets // made of the lessons
	// seller is the workshop on its invoices; nil until the owner has set it.
	seller *jobv1.Seller
	// stays and hours are what the owner's figures are made from.
	stays stays
	hours hours
	// site is what all bays and people share; nil: nothing was told.
	site *schedulingv1.SiteCalendar
}

func newState(site string) *State {
	return &State{
		Site:     site,
		jobs:     map[string]*Job{},
		editions: map[string]*catalogue.Catalogue{},
		newest:   map[string]string{},
		times:    timesheets{},
		invoices: map[string]uint64{},
		stays:    stays{Open: map[string]*stay{}},
		hours:    hours{},
	}
}

// Machine is the job service as a state machine over its site's log.
func Machine() sitelog.Machine[*State] {
	return sitelog.Machine[*State]{
		Service:  Service,
		New:      newState,
		Evolve:   evolve,
		Follows:  []string{"inventory", "scheduling", "torque-audit"},
		React:    react,
		Due:      due,
		Fire:     fire,
		Snapshot: snapshot,
		Restore:  restore,
		Schema:   statecode.Schema[kept](foldVersion),
	}
}

// job finds a job by name.
func (s *State) job(name string) (*Job, error) {
	if j, ok := s.jobs[name]; ok {
		return j, nil
	}
	if f := s.archived(name); f != nil {
		return nil, f
	}
	return nil, jobNotFound(name)
}

func jobNotFound(name string) error {
	return fault.New(fault.NotFound, "JOB_NOT_FOUND",
		"there is no %s at this site; 'ramprow job list' shows those that there are", name).With("job", name)
}

// openJob finds a job that is neither closed nor cancelled.
func (s *State) openJob(name string) (*Job, error) {
	j, err := s.job(name)
	if err != nil {
		return nil, err
	}
	if j.finished() {
		return nil, fault.New(fault.Precondition, "JOB_FINISHED",
			"%s is %s; open a new job for more work on the car", name, stateWord(j.stage())).With("job", name)
	}
	return j, nil
}

// authorisable finds a job whose customer can be asked: one that is open, or one
// that is closed and whose invoice may have to be issued anew over more.
func (s *State) authorisable(name string) (*Job, error) {
	j, err := s.job(name)
	if err != nil || j.Invoice != nil {
		return j, err
	}
	return s.openJob(name)
}

// edition finds the catalogue that a job was planned with, or the newest one
// when the version names a catalogue only.
func (s *State) edition(version string) (*catalogue.Catalogue, error) {
	if newest, ok := s.newest[version]; ok {
		version = newest
	}
	if c, ok := s.editions[version]; ok {
		return s.times.timed(c), nil
	}
	return nil, fault.New(fault.NotFound, "CATALOGUE_NOT_FOUND",
		"this site has no catalogue %s; the owner imports one with 'ramprow catalogue import FILE'", version).
		With("catalogue", version)
}

func jobName(number uint64) string { return fmt.Sprintf("jobs/%d", number) }

// Number gives the digits of a resource name, as in 17 of jobs/17.
func numberOf(name string) string {
	_, number, _ := strings.Cut(name, "/")
	return number
}
