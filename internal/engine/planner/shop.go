package planner

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// shop is a problem made ready for searching: names are numbers, calendars are windows.
type shop struct {
	problem Problem
	zone    *time.Location
	now     instant
	extent  span
	bays    []resource
	people  []resource
	tools   []resource
	jobs    []Job
	times   []times
	urgency []int      // the jobs by urgency
	choices [][]choice // per job, in a fixed order
	parts   []parts    // per job, what its choices are made of
	lying   []*choice  // per job, the choice that Current stands for; nil: none
	windows map[string]*windows
	// calendars are those met so far.
	calendars []opening
}

// opening is a calendar with its windows.
type opening struct {
	calendar Calendar
	open     *windows
}

// times are a job's moments, ready to be compared: they are asked for with every try.
type times struct {
	release    instant // -forever: at any time
	due        instant // forever: no wish
	start, end instant // of Current
	// bay and person are those of Current; none where it names nobody that is there.
	bay, person int
	weight      float64 // of a minute, by priority
}

func timesOf(j *Job) times {
	t := times{release: -forever, due: forever, bay: none, person: none}
	t.weight = 1 + float64(min(max(j.Priority, 0), MaxPriority))
	if !j.Release.IsZero() {
		t.release = at(j.Release)
	}
	if !j.Due.IsZero() {
		t.due = at(j.Due)
	}
	if j.Wish != nil && j.Wish.NotBefore.After(j.Release) {
		t.release = at(j.Wish.NotBefore)
	}
	if j.Current != nil {
		t.start, t.end = at(j.Current.When.Start), at(j.Current.When.End)
	}
	return t
}

// resource is a bay, a person or a tool.
type resource struct {
	name   string
	open   *windows
	blocks []block
	// barred tells that a placement must not span a block; a person's work just pauses.
	barred bool
}

type block struct {
	span
	why string
}

// choice is one way to give a job everything it needs.
type choice struct {
	bay, person int
	// kits are for each tool type; tools are the pieces, once the time is known.
	kits  []kit
	tools []int
	// twice tells that a kit is wanted more than once.
	twice bool
	open  *windows
	// expires is when the person's first needed licence ends.
	expires instant
	licence string
	scarce  float64
}

// none stands for a bay or person that is not known; started work only.
const none = -1

// forever is later than everything that is planned.
const forever = instant(1<<63 - 1)

func newShop(p Problem) (*shop, error) {
	s, err := resourcesOf(p)
	if err != nil {
		return nil, err
	}
	s.choose()
	s.lying = make([]*choice, len(p.Jobs))
	for job := range p.Jobs {
		if cur := p.Jobs[job].Current; cur != nil {
			s.lying[job] = s.choiceOf(job, cur.Bay, cur.Person, cur.Tools)
		}
	}
	return s, nil
}

// resourcesOf is a shop without the ways to serve each job.
func resourcesOf(p Problem) (*shop, error) {
	if err := check(p); err != nil {
		return nil, err
	}
	s := &shop{
		problem: p, zone: p.Zone, now: at(p.Now), jobs: p.Jobs,
		windows: map[string]*windows{},
	}
	if s.zone == nil {
		s.zone = time.UTC
	}
	horizon := p.Horizon
	if horizon <= 0 {
		horizon = DefaultHorizon
	}
	s.extent = span{s.earliest(), s.now.add(horizon)}
	for i := range p.Jobs {
		s.times = append(s.times, timesOf(&p.Jobs[i]))
	}
	s.urgency = s.byUrgency()
	for _, b := range p.Bays {
		s.bays = append(s.bays, s.resource(b.Name, b.Calendar, true))
	}
	for _, h := range p.People {
		s.people = append(s.people, s.resource(h.Name, h.Calendar, false))
	}
	for _, t := range p.Tools {
		s.tools = append(s.tools, s.resource(t.Name, t.Calendar, true))
	}
	for i := range p.Jobs {
		if cur := p.Jobs[i].Current; cur != nil {
			s.times[i].bay, s.times[i].person = find(s.bays, cur.Bay), find(s.people, cur.Person)
		}
	}
	return s, nil
}

// earliest is the first moment whose calendar matters: started work may have
// been counted long ago.
func (s *shop) earliest() instant {
	first := s.now
	for _, j := range s.jobs {
		if j.Started != nil {
			first = min(first, at(j.Started.At), at(j.Started.Since))
		}
		if j.Current != nil {
			first = min(first, at(j.Current.When.Start))
		}
	}
	return first
}

func (s *shop) resource(name string, c Calendar, barred bool) resource {
	r := resource{name: name, open: s.opening(c), barred: barred}
	for _, b := range c.Blocks {
		r.blocks = append(r.blocks, block{spanOf(b.When), b.Why})
	}
	return r
}

// opening gives the windows of a calendar. Most people have the same shifts, and
// most tools none: a calendar that was met before has its windows already.
func (s *shop) opening(c Calendar) *windows {
	for _, known := range s.calendars {
		if known.calendar.equal(c) {
			return known.open
		}
	}
	open := c.open(s.extent, s.zone)
	s.calendars = append(s.calendars, opening{c, open})
	return open
}

// together gives the times at which all of a choice's resources can be used.
// Choices that differ only in what is always open share their windows.
func (s *shop) together(c choice) *windows {
	var names []string
	var parts []*windows
	add := func(r resource) {
		if always := len(r.open.spans) == 1 && r.open.spans[0] == s.extent; !always {
			names, parts = append(names, r.name), append(parts, r.open)
		}
	}
	if c.person != none {
		add(s.people[c.person])
	}
	if c.bay != none {
		add(s.bays[c.bay])
	}
	for _, t := range c.pieces() {
		add(s.tools[t])
	}
	key := strings.Join(names, " ")
	if w, ok := s.windows[key]; ok {
		return w
	}
	w := newWindows([]span{s.extent})
	for _, part := range parts {
		w = intersect(w, part)
	}
	s.windows[key] = w
	return w
}

// check refuses what no plan could be true of.
func check(p Problem) error {
	seen := map[string]bool{}
	once := func(what, name string) error {
		if name == "" || seen[name] {
			return fmt.Errorf("planner: %s %q must have a name of its own", what, name)
		}
		seen[name] = true
		return nil
	}
	for _, b := range p.Bays {
		if err := once("bay", b.Name); err != nil {
			return err
		}
	}
	for _, h := range p.People {
		if err := once("person", h.Name); err != nil {
			return err
		}
	}
	for _, t := range p.Tools {
		if err := once("tool", t.Name); err != nil {
			return err
		}
	}
	for _, j := range p.Jobs {
		if err := once("job", j.Name); err != nil {
			return err
		}
		if j.Effort < 0 {
			return fmt.Errorf("planner: job %q has an effort of %v", j.Name, j.Effort)
		}
	}
	return nil
}

// find gives a resource's number by name, or none.
func find(all []resource, name string) int {
	return slices.IndexFunc(all, func(r resource) bool { return r.name == name })
}
