package recount

import (
	"maps"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	commonv1 "ramprow/proto/ramprow/common/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
	"ramprow/services/ramprow/simulate/invariants"
)

// visit is one job's stay, cut out of the log.
type visit struct {
	events           []happened
	joints           []proto.Message // of the tightening audit
	arrived, ended   time.Time       // zero: not
	end              *standing
	stages           map[jobv1.Stage]time.Duration
	tightened, first uint32
}

// Figures gives what GetFigures should answer at a moment for whole days in UTC, without what formulas expect.
func Figures(logs invariants.Logs, from, to, now time.Time) *jobv1.GetFiguresResponse {
	c := &count{from: from, to: to, now: now, board: heardOf(logs), visits: visitsOf(logs)}
	if c.to.After(now) {
		c.to = now
	}
	c.to = later(c.to, c.from)
	c.addUp()
	return c.answer(from)
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

func earlier(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}

// heardOf gives each change of the board the time of the commit in which the job service dealt with it.
func heardOf(logs invariants.Logs) *board {
	type place struct {
		sequence     uint64
		entry, event uint32
	}
	heard := map[place]time.Time{}
	clocks := clocksOf(logs)
	for _, c := range logs["job"] {
		for _, e := range c.GetEntries() {
			if r := e.GetReaction(); r.GetService() == "scheduling" && len(e.GetEvents()) > 0 {
				heard[place{r.GetSequence(), r.GetEntryIndex(), r.GetEventIndex()}] = clocks[c.Sequence]
			}
		}
	}
	b := &board{}
	each(logs["scheduling"], func(c invariants.Commit, entry, event int, m proto.Message) {
		if at, ok := heard[place{c.Sequence, uint32(entry), uint32(event)}]; ok { //nolint:gosec // a commit has few events
			b.changes = append(b.changes, boardChange{at, m})
		}
	})
	slices.SortStableFunc(b.changes, func(x, y boardChange) int { return x.heard.Compare(y.heard) })
	return b
}

// clocksOf gives the time of each commit of the job service's log by its sequence. A writer's clock may go back; then
// this one stands still.
func clocksOf(logs invariants.Logs) map[uint64]time.Time {
	clocks := map[uint64]time.Time{}
	var now time.Time
	for _, c := range logs["job"] {
		if slices.ContainsFunc(c.Events, func(events []proto.Message) bool { return len(events) > 0 }) {
			now = later(now, c.GetTime().AsTime())
		}
		clocks[c.Sequence] = now
	}
	return clocks
}

// each walks through a log.
func each(log []invariants.Commit, do func(c invariants.Commit, entry, event int, m proto.Message)) {
	for _, c := range log {
		for i, events := range c.Events {
			for j, m := range events {
				do(c, i, j, m)
			}
		}
	}
}

type ofJob interface{ GetJob() string }

func visitsOf(logs invariants.Logs) map[string]*visit {
	visits := map[string]*visit{}
	clocks := clocksOf(logs)
	each(logs["job"], func(c invariants.Commit, entry, _ int, m proto.Message) {
		of, ok := m.(ofJob)
		if !ok {
			return
		}
		v := visits[of.GetJob()]
		if v == nil {
			v = &visit{stages: map[jobv1.Stage]time.Duration{}}
			visits[of.GetJob()] = v
		}
		v.events = append(v.events, happened{clocks[c.Sequence], c.GetTime().AsTime(), c.GetEntries()[entry].GetActor().GetPerson(), m})
	})
	each(logs["torque-audit"], func(_ invariants.Commit, _, _ int, m proto.Message) {
		if of, ok := m.(ofJob); ok && visits[of.GetJob()] != nil {
			visits[of.GetJob()].joints = append(visits[of.GetJob()].joints, m)
		}
	})
	for job, v := range visits {
		if v.settle(); v.arrived.IsZero() {
			delete(visits, job)
		}
	}
	return visits
}

// settle finds when the stay began and ended.
func (v *visit) settle() {
	for i := range v.events {
		s := stand(v.events[:i+1])
		if s.here && v.arrived.IsZero() {
			v.arrived = v.events[i].at
		}
		if s.over {
			v.ended, v.end = v.events[i].at, s
			break
		}
	}
	v.count()
}

// count looks at each joint that was proved: whether a reading of it had failed by then that nobody took out, and
// whether it had been opened again.
func (v *visit) count() {
	failed := map[string]map[uint32]bool{}
	reopened := map[string]bool{}
	for _, m := range v.joints {
		switch m := m.(type) {
		case *torqueauditv1.ReadingPosted:
			r := m.GetReading()
			if r.GetVerdict() == torqueauditv1.Verdict_VERDICT_DOES_NOT_CONFORM || r.GetVerdict() == torqueauditv1.Verdict_VERDICT_OUTSIDE_NOT_PROVED {
				if failed[r.GetJoint()] == nil {
					failed[r.GetJoint()] = map[uint32]bool{}
				}
				failed[r.GetJoint()][r.GetNumber()] = true
			}
		case *torqueauditv1.ReadingCorrected:
			for _, numbers := range failed {
				delete(numbers, m.GetNumber())
			}
		case *torqueauditv1.SheetReopened:
			for _, joint := range m.GetJoints() {
				reopened[joint] = true
			}
		case *torqueauditv1.JointProved:
			v.tightened++
			if len(failed[m.GetJoint()]) == 0 && !reopened[m.GetJoint()] {
				v.first++
			}
		}
	}
}

func (v *visit) at(moment time.Time) *standing {
	n := 0
	for n < len(v.events) && !v.events[n].at.After(moment) {
		n++
	}
	return stand(v.events[:n])
}

// count is everything while it is being added up.
type count struct {
	from, to, now time.Time
	board         *board
	visits        map[string]*visit

	inWindow map[jobv1.Stage]time.Duration
	busy     map[string][3]time.Duration // open, busy, beyond
	jobs     map[string]map[string]bool  // by resource
	pieces   []piece
}

// piece is a stretch of the window with how many jobs were here.
type piece struct {
	from, to time.Time
	here     int
}

func (c *count) addUp() {
	c.inWindow, c.busy, c.jobs = map[jobv1.Stage]time.Duration{}, map[string][3]time.Duration{}, map[string]map[string]bool{}
	edges := []time.Time{c.from, c.to}
	first := c.from
	for _, v := range c.visits {
		if v.present(c.from, c.to) {
			first = earlier(first, v.arrived)
		}
		for _, e := range v.events {
			edges = append(edges, e.at)
		}
	}
	edges = append(edges, c.board.edges(first, c.to)...)
	for day := c.from; day.Before(c.to); day = day.Add(24 * time.Hour) {
		edges = append(edges, day)
	}
	slices.SortFunc(edges, time.Time.Compare)
	edges = slices.CompactFunc(edges, time.Time.Equal)
	for i := 1; i < len(edges); i++ {
		if !edges[i-1].Before(first) && !edges[i].After(c.to) {
			c.look(edges[i-1], edges[i])
		}
	}
}

func (v *visit) present(from, to time.Time) bool {
	return v.arrived.Before(to) && (v.ended.IsZero() || !v.ended.Before(from))
}

// look adds one piece in which nothing happened.
func (c *count) look(from, to time.Time) {
	length := to.Sub(from)
	inside := !from.Before(c.from)
	resources := c.board.resources(from)
	standings := map[string]*standing{}
	busy := map[string]bool{}
	for job, v := range c.visits {
		if v.arrived.After(from) || !v.ended.IsZero() && !v.ended.After(from) {
			continue
		}
		s := v.at(from)
		standings[job] = s
		for _, name := range s.keeps() {
			busy[name] = true
			if inside {
				if c.jobs[name] == nil {
					c.jobs[name] = map[string]bool{}
				}
				c.jobs[name][job] = true
			}
		}
	}
	for job, s := range standings {
		stage := s.stage(resources, busy)
		c.visits[job].stages[stage] += length
		if inside {
			c.inWindow[stage] += length
		}
	}
	if !inside {
		return
	}
	c.pieces = append(c.pieces, piece{from, to, len(standings)})
	opened := map[string]bool{}
	for _, r := range resources {
		opened[r.GetName()] = r.open
	}
	for name := range union(opened, busy) {
		b := c.busy[name]
		switch {
		case opened[name] && busy[name]:
			b[0], b[1] = b[0]+length, b[1]+length
		case opened[name]:
			b[0] += length
		case busy[name]:
			b[2] += length
		}
		c.busy[name] = b
	}
}

func union(a, b map[string]bool) map[string]bool {
	all := maps.Clone(a)
	maps.Copy(all, b)
	return all
}

// keeps are the bay and people that a job keeps busy.
func (s *standing) keeps() []string {
	var names []string
	for _, hand := range s.hands() {
		names = append(names, "people/"+hand)
	}
	if s.bay != "" {
		names = append(names, s.bay)
	}
	return names
}

// answer puts the sums into the form of the service's answer.
func (c *count) answer(from time.Time) *jobv1.GetFiguresResponse {
	r := &jobv1.GetFiguresResponse{
		When: &commonv1.Interval{Start: timestamppb.New(c.from), End: timestamppb.New(c.to)},
		Stay: &jobv1.TimeFigures{}, Quote: &jobv1.QuoteFigures{Quoted: dur(0), Taken: dur(0)}, Promises: &jobv1.PromiseFigures{Sureness: 0.8}, Joints: &jobv1.JointFigures{},
	}
	for day := from; day.Before(c.to); day = day.Add(24 * time.Hour) {
		d := c.day(day, earlier(day.Add(24*time.Hour), c.to))
		r.Days = append(r.Days, d)
		r.Arrived, r.Closed, r.Cancelled = r.GetArrived()+d.GetArrived(), r.GetClosed()+d.GetClosed(), r.GetCancelled()+d.GetCancelled()
		if len(r.GetWeeks()) == 0 || day.Weekday() == time.Monday {
			r.Weeks = append(r.Weeks, c.day(day, earlier(nextMonday(day), c.to)))
		}
	}
	closed := c.closed()
	var stays []time.Duration
	for _, v := range closed {
		stays = append(stays, v.ended.Sub(v.arrived))
		c.outcome(r, v)
	}
	r.Stay = times(stays)
	c.stages(r, closed)
	c.uses(r)
	c.little(r)
	return r
}

func nextMonday(day time.Time) time.Time {
	day = day.Add(24 * time.Hour)
	for day.Weekday() != time.Monday {
		day = day.Add(24 * time.Hour)
	}
	return day
}

// closed are the jobs whose invoice was closed in the window.
func (c *count) closed() []*visit {
	var closed []*visit
	for _, job := range slices.Sorted(maps.Keys(c.visits)) {
		v := c.visits[job]
		if !v.ended.IsZero() && !v.end.cancelled && !v.ended.Before(c.from) && v.ended.Before(c.to) {
			closed = append(closed, v)
		}
	}
	return closed
}

func (c *count) day(from, to time.Time) *jobv1.DayFigures {
	d := &jobv1.DayFigures{When: &commonv1.Interval{Start: timestamppb.New(from), End: timestamppb.New(to)}}
	within := func(t time.Time) bool { return !t.IsZero() && !t.Before(from) && t.Before(to) }
	for _, v := range c.visits {
		if within(v.arrived) {
			d.Arrived++
		}
		if within(v.ended) && v.end.cancelled {
			d.Cancelled++
		} else if within(v.ended) {
			d.Closed++
		}
		if v.arrived.Before(to) && (v.ended.IsZero() || !v.ended.Before(to)) {
			d.Last++
		}
	}
	var present time.Duration
	for _, p := range c.pieces {
		if !p.from.Before(from) && !p.to.After(to) {
			present += time.Duration(p.here) * p.to.Sub(p.from)
			d.Most = max(d.GetMost(), uint32(p.here)) //nolint:gosec // few jobs
		}
	}
	d.PresentTime, d.Present = dur(present), float64(present)/float64(to.Sub(from))
	return d
}

func (c *count) outcome(r *jobv1.GetFiguresResponse, v *visit) {
	r.Joints.Tightened += v.tightened
	r.Joints.FirstTime += v.first
	if quoted, taken := v.end.quoted(), v.end.taken(); quoted > 0 {
		r.Quote.Jobs++
		r.Quote.Quoted = dur(r.GetQuote().GetQuoted().AsDuration() + quoted)
		r.Quote.Taken = dur(r.GetQuote().GetTaken().AsDuration() + taken)
		if taken > quoted {
			r.Quote.Over++
		}
	}
	if told := v.end.told; !told.IsZero() {
		r.Promises.Given++
		if v.end.finished && !v.end.finishedAt.After(told) {
			r.Promises.Held++
		}
	}
}

func (c *count) stages(r *jobv1.GetFiguresResponse, closed []*visit) {
	var longest time.Duration
	for s := jobv1.Stage_STAGE_DIAGNOSIS; s <= jobv1.Stage_STAGE_BILLING; s++ {
		f := &jobv1.StageFigures{Stage: s, InWindow: dur(c.inWindow[s]), Present: c.mean(c.inWindow[s])}
		var list []time.Duration
		for _, v := range closed {
			list = append(list, v.stages[s])
			if v.stages[s] > 0 {
				f.Jobs++
			}
		}
		f.Time = times(list)
		r.Stages = append(r.Stages, f)
	}
	for _, s := range []jobv1.Stage{jobv1.Stage_STAGE_AUTHORITY, jobv1.Stage_STAGE_PARTS, jobv1.Stage_STAGE_BAY, jobv1.Stage_STAGE_TECHNICIAN} {
		if c.inWindow[s] > longest {
			longest, r.LongestWait = c.inWindow[s], s
		}
	}
}

func (c *count) mean(of time.Duration) float64 {
	if !c.to.After(c.from) {
		return 0
	}
	return float64(of) / float64(c.to.Sub(c.from))
}

func (c *count) uses(r *jobv1.GetFiguresResponse) {
	titles := map[string]string{}
	for _, change := range c.board.changes {
		if m, ok := change.event.(*schedulingv1.ResourceSet); ok {
			titles[m.GetResource().GetName()] = m.GetResource().GetTitle()
		}
	}
	stations := map[string]*jobv1.StationFigures{}
	for _, name := range []string{"bays", "people"} {
		stage := jobv1.Stage_STAGE_BAY
		if name == "people" {
			stage = jobv1.Stage_STAGE_TECHNICIAN
		}
		stations[name] = &jobv1.StationFigures{Station: name, Open: dur(0), Busy: dur(0), Waiting: dur(c.inWindow[stage]), Queue: c.mean(c.inWindow[stage])}
		r.Stations = append(r.Stations, stations[name])
	}
	for _, name := range slices.Sorted(maps.Keys(c.busy)) {
		b := c.busy[name]
		u := &jobv1.UseFigures{Resource: name, Title: name, Busy: dur(b[1]), Beyond: dur(b[2]), Jobs: uint32(len(c.jobs[name]))} //nolint:gosec // few jobs
		if title := titles[name]; title != "" {
			u.Title = title
		}
		if b[0] > 0 {
			u.Open, u.Utilisation = dur(b[0]), float64(b[1])/float64(b[0])
			folder, _, _ := strings.Cut(name, "/")
			s := stations[folder]
			s.Resources++
			s.Open, s.Busy = dur(s.GetOpen().AsDuration()+b[0]), dur(s.GetBusy().AsDuration()+b[1])
			s.Utilisation = float64(s.GetBusy().AsDuration()) / float64(s.GetOpen().AsDuration())
		}
		if b[0] > 0 || b[1]+b[2] > 0 {
			r.Uses = append(r.Uses, u)
		}
	}
	highest := 0.0
	for _, s := range r.GetStations() {
		if s.GetUtilisation() > highest {
			highest, r.Bottleneck = s.GetUtilisation(), s.GetStation()
		}
	}
}

func (c *count) little(r *jobv1.GetFiguresResponse) {
	var present, stays, before, after time.Duration
	arrivals := 0
	for _, p := range c.pieces {
		present += time.Duration(p.here) * p.to.Sub(p.from)
	}
	for _, v := range c.visits {
		if !v.present(c.from, c.to) {
			continue
		}
		end := c.now
		if !v.ended.IsZero() && v.ended.Before(c.now) {
			end = v.ended
		}
		if v.arrived.Before(c.from) {
			before += earlier(end, c.to).Sub(c.from)
			continue
		}
		arrivals++
		stays += end.Sub(v.arrived)
		if end.After(c.to) {
			after += end.Sub(c.to)
		}
	}
	l := &jobv1.LittleFigures{
		PresentTime: dur(present), Stays: dur(stays), Before: dur(before), After: dur(after), Residual: dur(0), Stay: dur(0),
		Present: c.mean(present), Edges: c.mean(before - after), ArrivalsPerDay: c.mean(time.Duration(arrivals) * 24 * time.Hour),
	}
	if arrivals > 0 {
		l.Stay = dur(stays / time.Duration(arrivals))
	}
	r.Little = l
}

func dur(d time.Duration) *durationpb.Duration { return durationpb.New(d) }

// times sorts, and takes the ones in the middle and at four fifths.
func times(list []time.Duration) *jobv1.TimeFigures {
	f := &jobv1.TimeFigures{Total: dur(0), Mean: dur(0), Median: dur(0), P80: dur(0)}
	if len(list) == 0 {
		return f
	}
	slices.Sort(list)
	var total time.Duration
	for _, d := range list {
		total += d
	}
	atLeast := func(share float64) time.Duration {
		for i, d := range list {
			if float64(i+1) >= share*float64(len(list)) {
				return d
			}
		}
		return list[len(list)-1]
	}
	f.Total, f.Mean, f.Median, f.P80 = dur(total), dur(total/time.Duration(len(list))), dur(atLeast(0.5)), dur(atLeast(0.8))
	return f
}
