package workshop

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"ramprow/internal/engine/planner"
)

const (
	none    = -1
	forever = 1 << 40
)

// shop is a problem made ready for searching: names are numbers, times are ticks.
type shop struct {
	p       Problem
	grid    time.Duration
	horizon int
	bays    []resource
	people  []resource
	tools   []resource
	jobs    []job
	classes []planner.Calendar
	always  []bool // per class: always open
	open    [][]span
	shared  map[classes]*windows
	// kindOf numbers the calendars of the bays: modes know their windows for each.
	kindOf []int
	// mornings are when the first people come.
	mornings  []int
	overtimes bool     // somebody has some
	round     *windows // the whole horizon
}

type resource struct {
	class    int
	blocks   []span
	overtime []span
}

// classes are the distinct calendars that an operation waits for, sorted; unused: none.
type classes [6]int

type job struct {
	release, due int
	weight       int64
	bays         []int
	ways         []way
	pin          int // start, or none
	opened       bool
	since        int
	openWay      int
	last         *placed
	fixed        bool // opened or pinned: put first
}

type way struct {
	ops     []op
	order   []int // before whom nothing is left to do comes first
	in, out [][]lag
	effort  int
	// tail is the least time from an operation's end to the job's end, head from the
	// job's start to the operation's start.
	tail, head []int
	least      int // the least time that the bay is held
}

type lag struct{ op, least, most int }

type op struct {
	effort            int
	modes             []mode
	unattended, whole bool
	pin               int
	started           *spot
}

// mode is one person with one set of tools.
type mode struct {
	person  int
	tools   []int
	expires int
	open    []*windows // by the bay's calendar, as kindOf numbers them
}

// spot is where an operation lies.
type spot struct {
	span
	person int
	tools  []int
}

// placed is where a job lies.
type placed struct {
	way, bay    int
	open, close int
	ops         []spot
	cost        int64
}

func newShop(p Problem) (*shop, error) {
	s := &shop{p: p, grid: p.Grid, shared: map[classes]*windows{}}
	if s.grid <= 0 {
		s.grid = DefaultGrid
	}
	if p.Horizon <= 0 {
		p.Horizon = DefaultHorizon
	}
	s.horizon = int(p.Horizon / s.grid)
	s.round = newWindows([]span{{0, s.horizon}})
	for _, b := range p.Bays {
		s.bays = append(s.bays, s.resource(b.Calendar))
	}
	for _, h := range p.People {
		s.people = append(s.people, s.resource(h.Calendar))
		s.overtimes = s.overtimes || len(s.people[len(s.people)-1].overtime) > 0
	}
	for _, t := range p.Tools {
		s.tools = append(s.tools, s.resource(t.Calendar))
	}
	s.mornings = s.firstPeople()
	for i := range p.Jobs {
		j, err := s.job(&p.Jobs[i])
		if err != nil {
			return nil, err
		}
		s.jobs = append(s.jobs, j)
	}
	s.openModes()
	return s, nil
}

// openModes finds the windows of every mode in every sort of bay.
func (s *shop) openModes() {
	seen := map[int]int{}
	var bays []int // one of each sort
	for b := range s.bays {
		class := s.bays[b].class
		if _, ok := seen[class]; !ok {
			seen[class] = len(bays)
			bays = append(bays, b)
		}
		s.kindOf = append(s.kindOf, seen[class])
	}
	for j := range s.jobs {
		for w := range s.jobs[j].ways {
			for k := range s.jobs[j].ways[w].ops {
				for i := range s.jobs[j].ways[w].ops[k].modes {
					m := &s.jobs[j].ways[w].ops[k].modes[i]
					for _, b := range bays {
						m.open = append(m.open, s.together(b, m.person, m.tools))
					}
				}
			}
		}
	}
}

// firstPeople gives the moments at which somebody comes and nobody was there.
func (s *shop) firstPeople() (mornings []int) {
	var all []span
	for i := range s.people {
		all = append(all, s.open[s.people[i].class]...)
	}
	slices.SortFunc(all, func(a, b span) int { return a.start - b.start })
	until := 0
	for _, w := range all {
		if w.start > until {
			mornings = append(mornings, w.start)
		}
		until = max(until, w.end)
	}
	return mornings
}

// up and down give the first tick not before a time, and the last not after it.
func (s *shop) up(t time.Time) int { return -s.floor(s.p.Now.Sub(t)) }

func (s *shop) down(t time.Time) int { return s.floor(t.Sub(s.p.Now)) }

func (s *shop) floor(d time.Duration) int {
	q := d / s.grid
	if d%s.grid < 0 {
		q--
	}
	return int(q)
}

func (s *shop) ticks(d time.Duration) int { return -s.floor(-d) }

func (s *shop) time(tick int) time.Time {
	t := s.p.Now.Add(time.Duration(tick) * s.grid)
	if s.p.Zone != nil {
		t = t.In(s.p.Zone)
	}
	return t
}

func (s *shop) resource(c planner.Calendar) resource {
	r := resource{class: s.class(c)}
	for _, b := range c.Blocks {
		r.blocks = append(r.blocks, span{s.down(b.When.Start), s.up(b.When.End)})
	}
	if len(c.Extra) > 0 { // what the shifts alone do not cover
		usual := c
		usual.Extra = nil
		shifts := s.spans(usual)
		at := 0
		for _, o := range append(shifts, span{forever, forever}) {
			r.overtime = append(r.overtime, intersect(s.open[r.class], []span{{at, o.start}})...)
			at = o.end
		}
	}
	return r
}

// class numbers the calendars that differ.
func (s *shop) class(c planner.Calendar) int {
	if i := slices.IndexFunc(s.classes, func(k planner.Calendar) bool { return c.SameTimes(k) }); i >= 0 {
		return i
	}
	open := s.spans(c)
	s.classes, s.open = append(s.classes, c), append(s.open, open)
	s.always = append(s.always, len(open) == 1 && open[0] == span{0, s.horizon})
	return len(s.classes) - 1
}

// spans are the whole ticks at which a calendar is open.
func (s *shop) spans(c planner.Calendar) []span {
	within := planner.Interval{Start: s.time(0), End: s.time(s.horizon)}
	var spans []span
	for _, o := range c.Open(within, s.p.Zone) {
		if w := (span{s.up(o.Start), s.down(o.End)}); w.start < w.end {
			spans = append(spans, w)
		}
	}
	return spans
}

// together gives the times at which a bay, a person and tools can all be used.
func (s *shop) together(bay, person int, tools []int) *windows {
	if person == none {
		return s.round
	}
	key := classes{none, none, none, none, none, none}
	n := 0
	add := func(class int) {
		if !s.always[class] && !slices.Contains(key[:n], class) {
			key[n] = class
			n++
		}
	}
	add(s.people[person].class)
	add(s.bays[bay].class)
	for _, t := range tools {
		add(s.tools[t].class)
	}
	if n == 0 {
		return s.round
	}
	slices.Sort(key[:n])
	if w := s.shared[key]; w != nil {
		return w
	}
	spans := s.round.spans
	for _, class := range key[:n] {
		spans = intersect(spans, s.open[class])
	}
	w := newWindows(spans)
	s.shared[key] = w
	return w
}

// job turns one job into numbers.
func (s *shop) job(in *Job) (job, error) {
	j := job{release: 0, due: forever, weight: lateWeight(in.Priority), pin: none}
	if !in.Release.IsZero() {
		j.release = max(0, s.up(in.Release))
	}
	if !in.Due.IsZero() {
		j.due = s.down(in.Due)
	}
	if !in.Start.IsZero() {
		j.pin = s.up(in.Start)
	}
	bay := in.Bay
	if o := in.Opened; o != nil {
		j.opened, j.since, j.openWay, bay = true, s.down(o.Since), o.Way, o.Bay
	}
	for b, has := range s.p.Bays {
		if (bay == "" || bay == has.Name) && (len(in.BayKinds) == 0 || j.opened || slices.Contains(in.BayKinds, has.Kind)) {
			j.bays = append(j.bays, b)
		}
	}
	for i, w := range in.Ways {
		one, err := s.way(w)
		if err != nil {
			return job{}, fmt.Errorf("workshop: job %q, way %d: %w", in.Name, i, err)
		}
		j.ways = append(j.ways, one)
	}
	if len(j.ways) == 0 {
		return job{}, fmt.Errorf("workshop: job %q has no way to be done", in.Name)
	}
	if j.openWay < 0 || j.openWay >= len(j.ways) {
		return job{}, fmt.Errorf("workshop: job %q was opened by way %d of %d", in.Name, j.openWay, len(j.ways))
	}
	j.fixed = j.opened || j.pin != none || bay != "" || slices.ContainsFunc(j.ways, func(w way) bool {
		return slices.ContainsFunc(w.ops, func(o op) bool { return o.pin != none })
	})
	j.last = s.lastOf(in)
	return j, nil
}

// lastOf is a job's place in the last plan, as far as its resources still exist.
func (s *shop) lastOf(in *Job) *placed {
	l := in.Last
	if l == nil || l.Way < 0 || l.Way >= len(in.Ways) || len(l.Operations) != len(in.Ways[l.Way].Operations) {
		return nil
	}
	p := &placed{way: l.Way, bay: slices.IndexFunc(s.p.Bays, func(b planner.Bay) bool { return b.Name == l.Bay })}
	for _, a := range l.Operations {
		p.ops = append(p.ops, s.spotOf(a.Person, a.Tools, span{s.down(a.When.Start), s.up(a.When.End)}))
	}
	return p
}

func (s *shop) spotOf(person string, tools []string, when span) spot {
	at := spot{span: when, person: slices.IndexFunc(s.p.People, func(h planner.Person) bool { return h.Name == person })}
	for _, name := range tools {
		at.tools = append(at.tools, slices.IndexFunc(s.p.Tools, func(t planner.Tool) bool { return t.Name == name }))
	}
	return at
}

func (s *shop) way(in Way) (way, error) {
	n := len(in.Operations)
	if n == 0 {
		return way{}, errors.New("there is nothing to do")
	}
	w := way{in: make([][]lag, n), out: make([][]lag, n), head: make([]int, n), tail: make([]int, n)}
	for i := range in.Operations {
		o := s.op(&in.Operations[i])
		w.ops = append(w.ops, o)
		w.effort += o.effort
	}
	for _, l := range in.Lags {
		if l.From < 0 || l.From >= n || l.To < 0 || l.To >= n {
			return way{}, fmt.Errorf("a lag from %d to %d of %d operations", l.From, l.To, n)
		}
		most := forever
		if l.Max != nil {
			most = s.floor(*l.Max)
		}
		w.in[l.To] = append(w.in[l.To], lag{l.From, s.ticks(l.Min), most})
		w.out[l.From] = append(w.out[l.From], lag{l.To, s.ticks(l.Min), most})
	}
	if err := w.sort(); err != nil {
		return way{}, err
	}
	for _, k := range w.order {
		for _, l := range w.in[k] {
			w.head[k] = max(w.head[k], w.head[l.op]+w.ops[l.op].effort+l.least)
		}
		w.least = max(w.least, w.head[k]+w.ops[k].effort)
	}
	for _, k := range slices.Backward(w.order) {
		for _, l := range w.out[k] {
			w.tail[k] = max(w.tail[k], l.least+w.ops[l.op].effort+w.tail[l.op])
		}
	}
	return w, nil
}

// sort orders the operations so that each comes after those it waits for.
func (w *way) sort() error {
	waits := make([]int, len(w.ops))
	for k := range w.ops {
		waits[k] = len(w.in[k])
	}
	for len(w.order) < len(w.ops) {
		k := slices.Index(waits, 0)
		if k < 0 {
			return errors.New("operations wait for each other in a circle")
		}
		waits[k] = none
		w.order = append(w.order, k)
		for _, l := range w.out[k] {
			waits[l.op]--
		}
	}
	return nil
}

func (s *shop) op(in *Operation) op {
	o := op{effort: max(1, s.ticks(in.Effort)), unattended: in.Unattended, whole: in.Whole, pin: none}
	if !in.Start.IsZero() {
		o.pin = s.up(in.Start)
	}
	if in.Started != nil {
		at := s.spotOf(in.Started.Person, in.Started.Tools, span{s.down(in.Started.At), 0})
		o.started = &at
		return o
	}
	sets := s.toolSets(in.ToolTypes)
	if in.Unattended {
		for _, tools := range sets {
			o.modes = append(o.modes, mode{person: none, tools: tools, expires: forever})
		}
		return o
	}
	for _, h := range s.plainFirst() {
		person := s.p.People[h]
		expires, able := s.able(person, in.Skills)
		if !able || in.Person != "" && in.Person != person.Name {
			continue
		}
		for _, tools := range sets {
			o.modes = append(o.modes, mode{person: h, tools: tools, expires: expires})
		}
	}
	return o
}

// plainFirst are the people with those first who can do least: the others are kept
// for what only they can do.
func (s *shop) plainFirst() []int {
	order := make([]int, len(s.p.People))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return len(s.p.People[a].Skills) - len(s.p.People[b].Skills) })
	return order
}

// able tells until when a person has all the skills.
func (s *shop) able(h planner.Person, skills []string) (expires int, ok bool) {
	expires = forever
	for _, want := range skills {
		i := slices.IndexFunc(h.Skills, func(k planner.Skill) bool { return k.Name == want })
		if i < 0 {
			return 0, false
		}
		if e := h.Skills[i].Expires; !e.IsZero() {
			expires = min(expires, s.down(e))
		}
	}
	return expires, true
}

// toolSets gives every set of pieces, one for each type.
func (s *shop) toolSets(types []string) [][]int {
	sets := [][]int{nil}
	for _, kind := range types {
		var wider [][]int
		for _, set := range sets {
			for t, tool := range s.p.Tools {
				if tool.Type == kind && !slices.Contains(set, t) {
					wider = append(wider, append(slices.Clone(set), t))
				}
			}
		}
		sets = wider
	}
	return sets
}
