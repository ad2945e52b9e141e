package job

import (
	"maps"
	"slices"

	"ramprow/internal/catalogue"
	"ramprow/internal/platform/shelf"
	"ramprow/internal/platform/statecode"
	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// foldVersion is raised when evolve makes something else of the same events, so
// that snapshots of the old fold are not used.
const foldVersion = 1

// kept is what a snapshot holds of a site.
type kept struct {
	Jobs     map[string]*Job
	LastJob  uint64
	Editions map[string]*cataloguev1.Catalogue
	Newest   map[string]string
	Invoices map[string]uint64
	Shelf    shelf.Kept
	Seller   *jobv1.Seller
	Lessons  lessons
	Stays    stays
	Hours    hours
	Site     *schedulingv1.SiteCalendar
}

// snapshot copies what evolve changes in place; messages are shared.
func snapshot(s *State) func() ([]byte, error) {
	k := kept{
		Jobs:     make(map[string]*Job, len(s.jobs)),
		LastJob:  s.lastJob,
		Editions: make(map[string]*cataloguev1.Catalogue, len(s.editions)),
		Newest:   maps.Clone(s.newest),
		Invoices: maps.Clone(s.invoices),
		Shelf:    s.shelf.Keep(),
		Seller:   s.seller,
		Lessons:  lessons{Cases: maps.Clone(s.lessons.Cases), Order: slices.Clone(s.lessons.Order), Revision: s.lessons.Revision},
		Stays:    s.stays.clone(),
		Hours:    maps.Clone(s.hours),
		Site:     s.site,
	}
	for name, j := range s.jobs {
		k.Jobs[name] = j.clone()
	}
	for version, c := range s.editions {
		k.Editions[version] = c.Message()
	}
	return func() ([]byte, error) { return statecode.Encode(&k) }
}

func restore(site string, data []byte) (*State, error) {
	var k kept
	if err := statecode.Decode(data, &k); err != nil {
		return nil, err
	}
	s := newState(site)
	s.jobs, s.lastJob, s.newest, s.invoices, s.seller = k.Jobs, k.LastJob, k.Newest, k.Invoices, k.Seller
	s.shelf, s.lessons = k.Shelf.Shelf(), k.Lessons
	s.times = sumUp(&s.lessons)
	s.stays, s.hours, s.site = k.Stays, k.Hours, k.Site
	for version, message := range k.Editions {
		s.editions[version] = catalogue.Prepared(message, version)
	}
	return s, nil
}
