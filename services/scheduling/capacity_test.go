package scheduling

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	"ramprow/internal/engine/planner"
	"ramprow/internal/platform/fault"
	"ramprow/internal/workhours"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

func (s *shop) capacity(req *schedulingv1.GetCapacityRequest) *schedulingv1.GetCapacityResponse {
	s.t.Helper()
	resp, err := s.st.capacity(req, s.now)
	if err != nil {
		s.t.Fatalf("capacity: %v", err)
	}
	return resp
}

// lineOf writes a line's spans as open/booked/expected/left over in hours.
func lineOf(r *schedulingv1.GetCapacityResponse, kind schedulingv1.ResourceKind, types ...string) string {
	for _, line := range r.GetLines() {
		if line.GetKind() != kind || !slices.Equal(line.GetTypes(), types) {
			continue
		}
		text := fmt.Sprintf("%d:", line.GetResources())
		for _, s := range line.GetSpans() {
			text += fmt.Sprintf(" %g/%g/%g/%g", s.GetOpen().AsDuration().Hours(), s.GetBooked().AsDuration().Hours(),
				s.GetExpected().AsDuration().Hours(), s.GetLeftOver().AsDuration().Hours())
		}
		return text + " " + line.GetRunsOver()
	}
	return "none"
}

// Two people work 8.5 hours on weekdays, from Monday 2 March 2026 on: 85 hours a week.
func TestCapacityOfWeeks(t *testing.T) {
	s := open(t)
	s.book("jobs/1", 10*time.Hour)
	s.hear(confirmed("jobs/2", plan(1, 4*time.Hour)))
	s.hear(short("jobs/2", 1, time.Time{})) // nobody knows when
	const bays, people = schedulingv1.ResourceKind_RESOURCE_KIND_BAY, schedulingv1.ResourceKind_RESOURCE_KIND_PERSON
	r := s.capacity(&schedulingv1.GetCapacityRequest{Weeks: 2})
	for _, want := range []struct {
		kind  schedulingv1.ResourceKind
		types []string
		line  string
	}{
		// Bays have the hours of those who work in them: each 8.5 a day.
		{bays, nil, "2: 85/10/0/0 85/0/0/0 "},
		{bays, []string{"lift"}, "2: 85/10/0/0 85/0/0/0 "},
		{people, nil, "2: 85/10/0/0 85/0/0/0 "},
		{people, []string{"refrigerant"}, "1: 42.5/0/0/0 42.5/0/0/0 "},
	} {
		if got := lineOf(r, want.kind, want.types...); got != want.line {
			t.Errorf("%v %v: %s, want %s", want.kind, want.types, got, want.line)
		}
	}
	for _, line := range r.GetLines() {
		needs := line.GetKind() == bays || len(line.GetTypes()) == 0 || line.GetTypes()[0] == "engine"
		if got := line.GetUndated().AsDuration(); (got == 4*time.Hour) != needs {
			t.Errorf("%v %v: undated %v", line.GetKind(), line.GetTypes(), got)
		}
	}
	s.closes(closedDay("lantern", "2026-03-10", ""))
	if got := lineOf(s.capacity(&schedulingv1.GetCapacityRequest{Weeks: 2}), people); got != "2: 85/10/0/0 68/0/0/0 " {
		t.Errorf("with a closed day: %s", got)
	}
	s.now = monday.AddDate(0, 0, 3).Add(2 * time.Hour) // Thursday at ten: what is over does not count
	if got := lineOf(s.capacity(&schedulingv1.GetCapacityRequest{Weeks: 1}), people); got != "2: 30/0/0/0 " {
		t.Errorf("what is left of the week: %s", got)
	}
}

// What waits fills the days from the one on which it can begin.
func TestCapacityRunsOver(t *testing.T) {
	s := newShop(t)
	s.set(person("people/ben", "refrigerant"))
	for n, effort := range []time.Duration{8 * time.Hour, 20 * time.Hour} {
		p := plan(1, effort)
		p.Skills, p.BayKinds = []string{"refrigerant"}, []string{"lift", "pit"}
		job := fmt.Sprintf("jobs/%d", n+1)
		m := confirmed(job, p)
		m.EarliestStart = ts(monday.AddDate(0, 0, n))
		s.hear(m)
		s.hear(held(job, 1)) // there is no bay at all: they wait
	}
	r := s.capacity(&schedulingv1.GetCapacityRequest{Weeks: 1, ByDay: true})
	want := "1: 8.5/0/8/0 8.5/0/20/11.5 8.5/0/0/3 8.5/0/0/0 8.5/0/0/0 0/0/0/0 0/0/0/0 2026-03-03"
	if got := lineOf(r, schedulingv1.ResourceKind_RESOURCE_KIND_PERSON, "refrigerant"); got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	// There is none of the bays that are asked for, and no line says that either kind alone must do it.
	want = "0: 0/0/8/8 0/0/20/28 0/0/0/28 0/0/0/28 0/0/0/28 0/0/0/28 0/0/0/28 2026-03-02"
	if got := lineOf(r, schedulingv1.ResourceKind_RESOURCE_KIND_BAY, "lift", "pit"); got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	if got := lineOf(r, schedulingv1.ResourceKind_RESOURCE_KIND_BAY, "lift"); got != "none" {
		t.Errorf("lifts alone: %s", got)
	}
}

func TestCapacityNamesLicencesThatEnd(t *testing.T) {
	s := open(t)
	ends := monday.AddDate(0, 0, 2).Add(4 * time.Hour) // Wednesday noon
	cleo := person("people/cleo")
	cleo.Skills = []*schedulingv1.Qualification{{Skill: "high-voltage", Expires: ts(ends)}, {Skill: "engine", Expires: ts(monday.AddDate(1, 0, 0))}}
	s.set(cleo)
	dora := person("people/dora", "high-voltage")
	s.set(dora)
	r := s.capacity(&schedulingv1.GetCapacityRequest{Weeks: 1})
	if len(r.GetLicences()) != 1 {
		t.Fatalf("got %v", r.GetLicences())
	}
	// Wednesday afternoon 4.5 hours, and two days of 8.5.
	l := r.GetLicences()[0]
	if l.GetPerson() != "people/cleo" || l.GetSkill() != "high-voltage" || l.GetTakes().AsDuration() != 21*time.Hour+30*time.Minute || l.GetOthers() != 1 {
		t.Errorf("got %v", l)
	}
	if got := lineOf(r, schedulingv1.ResourceKind_RESOURCE_KIND_PERSON, "high-voltage"); got != "2: 63.5/0/0/0 " { // 42.5 and 42.5 - 21.5
		t.Errorf("got %s", got)
	}
	for _, from := range []string{"2026-03-01", "2026-02-30", "2028-01-01"} {
		_, err := s.st.capacity(&schedulingv1.GetCapacityRequest{From: from}, s.now)
		if fault.ReasonOf(err) != "CAPACITY_RANGE" {
			t.Errorf("from %s: %v", from, err)
		}
	}
}

// Every half hour of a week is asked one by one who is there and who is booked, on the wall clock of the zone; all
// times of the shop lie on such. Two of the weeks have the day of 23 and the day of 25 hours in Vienna
// (Directive 2000/84/EC). No shift begins or ends in the hour that comes twice, for then it could mean either.
func TestCapacityAgainstCountingMinutes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := &counted{t: t, shop: newShop(t), seen: map[string][]minute{}}
		c.apply([]proto.Message{&schedulingv1.ZoneSet{Zone: "Europe/Vienna"}})
		c.now = rapid.SampledFrom([]time.Time{
			time.Date(2026, 3, 25, 9, 30, 0, 0, time.UTC), time.Date(2026, 10, 22, 5, 0, 0, 0, time.UTC), monday,
		}).Draw(t, "now")
		for i := range rapid.IntRange(1, 2).Draw(t, "bays") {
			c.furnish(bay(fmt.Sprintf("bays/b%d", i), "lift"))
		}
		for i := range rapid.IntRange(1, 3).Draw(t, "people") {
			p := person(fmt.Sprintf("people/p%d", i))
			if rapid.Bool().Draw(t, "licensed") {
				p.Skills = []*schedulingv1.Qualification{{Skill: "refrigerant", Expires: ts(c.moment("expires"))}}
			}
			c.furnish(p)
		}
		c.closing()
		for i := range rapid.IntRange(0, 4).Draw(t, "bookings") {
			start := c.moment("booked")
			c.apply([]proto.Message{&schedulingv1.BookingMade{Booking: &schedulingv1.Booking{
				Name: fmt.Sprintf("bookings/%d", i+1), Job: fmt.Sprintf("jobs/%d", i+1), State: schedulingv1.BookingState_BOOKING_STATE_BOOKED,
				Bay: c.any("bays/"), Technician: c.any("people/"), When: interval(start, start.Add(c.span("for"))),
			}}})
		}
		r := c.shop.capacity(&schedulingv1.GetCapacityRequest{Weeks: 1, ByDay: true})
		for _, line := range r.GetLines() {
			for _, s := range line.GetSpans() {
				open, booked := c.count(line, s.GetFirst())
				if s.GetOpen().AsDuration() != open || s.GetBooked().AsDuration() != booked {
					t.Fatalf("%v %v on %s: open %v, booked %v; counted %v, %v", line.GetKind(), line.GetTypes(), s.GetFirst(),
						s.GetOpen().AsDuration(), s.GetBooked().AsDuration(), open, booked)
				}
			}
		}
	})
}

// tick divides every time of the counted shop.
const tick = 30 * time.Minute

type counted struct {
	*shop
	t    *rapid.T
	seen map[string][]minute
}

func (c *counted) moment(label string) time.Time {
	return c.now.Add(time.Duration(rapid.IntRange(-40, 370).Draw(c.t, label)) * tick)
}

func (c *counted) span(label string) time.Duration {
	return time.Duration(rapid.IntRange(1, 66).Draw(c.t, label)) * tick
}

func (c *counted) any(folder string) string {
	var names []string
	for _, name := range c.st.resourceNames() {
		if len(name) > len(folder) && name[:len(folder)] == folder {
			names = append(names, name)
		}
	}
	return rapid.SampledFrom(names).Draw(c.t, folder)
}

// furnish gives a resource a calendar with everything in it.
func (c *counted) furnish(r *schedulingv1.Resource) {
	c.apply([]proto.Message{&schedulingv1.ResourceSet{Resource: r}})
	name := r.GetName()
	monday := workhours.DayAt(c.now, c.st.zone)
	if rapid.Bool().Draw(c.t, "roster") {
		late := person("people/any").GetShifts()
		for _, s := range late {
			s.FromMinute, s.ToMinute = s.GetFromMinute()+300, s.GetToMinute()+300
		}
		night := []*schedulingv1.Shift{{Weekday: 6, FromMinute: 22 * 60, ToMinute: 24 * 60}, {Weekday: 7, FromMinute: 0, ToMinute: 6 * 60}}
		c.apply([]proto.Message{&schedulingv1.RosterSet{Resource: name, Roster: &schedulingv1.Roster{
			From: workhours.DateText(monday + planner.Day(rapid.IntRange(-9, 5).Draw(c.t, "roster from"))), Weeks: []*schedulingv1.RosterWeek{{Shifts: late}, {Shifts: night}},
		}}})
	}
	for range rapid.IntRange(0, 2).Draw(c.t, "blocks") {
		start := c.moment("block")
		c.apply([]proto.Message{&schedulingv1.ResourceBlocked{Resource: name, Block: &schedulingv1.Block{When: interval(start, start.Add(c.span("away")))}}})
	}
	for range rapid.IntRange(0, 2).Draw(c.t, "overtime") {
		start := c.moment("overtime")
		c.apply([]proto.Message{&schedulingv1.OvertimePlanned{Resource: name, Overtime: &schedulingv1.Overtime{When: interval(start, start.Add(c.span("longer")))}}})
	}
}

func (c *counted) closing() {
	if first := workhours.DayAt(c.moment("closed"), c.st.zone); rapid.Bool().Draw(c.t, "closes") {
		kinds := rapid.SampledFrom([][]schedulingv1.ResourceKind{nil, {schedulingv1.ResourceKind_RESOURCE_KIND_PERSON}}).Draw(c.t, "kinds")
		c.apply([]proto.Message{&schedulingv1.ClosedDaySet{ClosedDay: &schedulingv1.ClosedDay{Name: "closed-days/a", Title: "x", First: workhours.DateText(first), Kinds: kinds}}})
	}
}

// count adds up the ticks of a day at which members of a line are there, and at which they are booked.
func (c *counted) count(line *schedulingv1.CapacityLine, date string) (open, booked time.Duration) {
	for _, m := range c.minutes(date) {
		for name := range m.there {
			r := c.st.resources[name]
			if r.GetKind() != line.GetKind() || !belongs(r, line.GetTypes(), m.at) {
				continue
			}
			open += tick
			if m.booked[name] {
				booked += tick
			}
		}
	}
	return open, booked
}

// minute is who is there at a tick, and who is booked.
type minute struct {
	at            time.Time
	there, booked map[string]bool
}

// minutes looks at each tick of a day, once.
func (c *counted) minutes(date string) []minute {
	if known, ok := c.seen[date]; ok {
		return known
	}
	start, err := time.ParseInLocation(time.DateOnly, date, c.st.zone)
	if err != nil {
		c.t.Fatal(err)
	}
	var all []minute
	for at := start; at.Before(start.AddDate(0, 0, 1)); at = at.Add(tick) {
		if at.Before(c.now) {
			continue
		}
		m := minute{at, map[string]bool{}, map[string]bool{}}
		somebody := false
		for name, r := range c.st.resources {
			if c.isThere(r, at, date) {
				m.there[name] = true
				somebody = somebody || r.GetKind() == schedulingv1.ResourceKind_RESOURCE_KIND_PERSON
			}
		}
		if !somebody {
			continue
		}
		for _, w := range c.st.open {
			if inside(workhours.IntervalOf(w.booking.GetWhen()), at) {
				m.booked[w.booking.GetBay()], m.booked[w.booking.GetTechnician()] = true, true
			}
		}
		all = append(all, m)
	}
	c.seen[date] = all
	return all
}

func inside(i planner.Interval, at time.Time) bool { return !at.Before(i.Start) && at.Before(i.End) }

func belongs(r *schedulingv1.Resource, types []string, at time.Time) bool {
	if len(types) == 0 || r.GetType() == types[0] {
		return true
	}
	return slices.ContainsFunc(r.GetSkills(), func(q *schedulingv1.Qualification) bool {
		return q.GetSkill() == types[0] && at.Before(timeOf(q.GetExpires()))
	})
}

// isThere reads the clock on the wall.
func (c *counted) isThere(r *schedulingv1.Resource, at time.Time, date string) bool {
	for _, b := range r.GetBlocks() {
		if inside(workhours.IntervalOf(b.GetWhen()), at) {
			return false
		}
	}
	for _, o := range r.GetOvertime() {
		if inside(workhours.IntervalOf(o.GetWhen()), at) {
			return true
		}
	}
	wall := at.In(c.st.zone)
	if day := c.st.closedDays["closed-days/a"]; day != nil && day.GetFirst() == date && (len(day.GetKinds()) == 0 || r.GetKind() == day.GetKinds()[0]) {
		return false
	}
	shifts, always := r.GetShifts(), len(r.GetShifts()) == 0
	for _, roster := range r.GetRosters() {
		if date >= roster.GetFrom() {
			_, week := wall.ISOWeek()
			from, _ := time.Parse(time.DateOnly, roster.GetFrom())
			_, first := from.ISOWeek() // in these months no year begins
			shifts, always = roster.GetWeeks()[(week-first)%2].GetShifts(), false
		}
	}
	return always || slices.ContainsFunc(shifts, func(s *schedulingv1.Shift) bool {
		minute := uint32(wall.Hour()*60 + wall.Minute())
		return time.Weekday(s.GetWeekday()%7) == wall.Weekday() && s.GetFromMinute() <= minute && minute < s.GetToMinute()
	})
}
