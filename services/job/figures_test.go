package job

import (
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/engine/flow"
	commonv1 "ramprow/proto/ramprow/common/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// A job from the door to the invoice: its stay is the time that went by, its minutes are those of its steps, and it is
// found behind the figures that it is in.
func TestFiguresOfOneJob(t *testing.T) {
	s := proved(t, "follower-4")
	s.wait(time.Hour)
	if _, err := s.close(job1); err != nil {
		t.Fatal(err)
	}
	closedAt := s.now
	s.wait(time.Second)
	f := s.figures("2026-03-01", "2026-03-31")
	if f.GetArrived() != 1 || f.GetClosed() != 1 || f.GetLittle().GetResidual().AsDuration() != 0 {
		t.Errorf("figures: %v", f)
	}
	if got, want := f.GetStay().GetTotal().AsDuration(), closedAt.Sub(monday); got != want {
		t.Errorf("it was here for %v, want %v", got, want)
	}
	var quoted, taken time.Duration
	past := s.st.stays.Past[0]
	for _, step := range s.job().Plan.GetSteps() {
		quoted += meanOf(step.GetEffort())
		taken += s.job().Progress[step.GetId()].Worked
	}
	if past.Quoted != quoted || past.Taken != taken || quoted == 0 {
		t.Errorf("quoted %v and taken %v, want %v and %v", past.Quoted, past.Taken, quoted, taken)
	}
	if got := stageTime(f, jobv1.Stage_STAGE_BILLING); got != 61*time.Minute {
		t.Errorf("it waited %v to be billed, want an hour and the minute of the last reading", got)
	}
	for _, c := range []struct {
		req  *jobv1.ListVisitsRequest
		want int
	}{
		{&jobv1.ListVisitsRequest{Figure: jobv1.Figure_FIGURE_CLOSED}, 1},
		{&jobv1.ListVisitsRequest{Figure: jobv1.Figure_FIGURE_STAGE, Stage: jobv1.Stage_STAGE_BILLING}, 1},
		{&jobv1.ListVisitsRequest{Figure: jobv1.Figure_FIGURE_STAGE, Stage: jobv1.Stage_STAGE_REWORK}, 0},
		{&jobv1.ListVisitsRequest{Figure: jobv1.Figure_FIGURE_STAGE}, 0},
		{&jobv1.ListVisitsRequest{Figure: jobv1.Figure_FIGURE_USE, Resource: "bays/none"}, 0},
		{&jobv1.ListVisitsRequest{Figure: jobv1.Figure_FIGURE_QUOTE}, 1},
	} {
		c.req.From, c.req.To = "2026-03-01", "2026-03-31"
		w, _, err := windowOf(c.req, s.now)
		if err != nil {
			t.Fatal(err)
		}
		found, err := pageOf(flow.Measure(s.st.shop(), w), c.req)
		if err != nil || len(found.GetVisits()) != c.want {
			t.Errorf("%v: %d jobs, want %d (%v)", c.req, len(found.GetVisits()), c.want, err)
		}
	}
}

func (s *site) figures(from, to string) *jobv1.GetFiguresResponse {
	s.t.Helper()
	f, err := s.st.Figures(&jobv1.GetFiguresRequest{From: from, To: to, TimeZone: "Europe/Vienna"}, s.now)
	if err != nil {
		s.t.Fatalf("figures: %v", err)
	}
	return f
}

func stageTime(f *jobv1.GetFiguresResponse, stage jobv1.Stage) time.Duration {
	for _, s := range f.GetStages() {
		if s.GetStage() == stage {
			return s.GetTime().GetTotal().AsDuration()
		}
	}
	return -1
}

// A car that is expected is not here, and one that never came leaves nothing behind.
func TestFiguresOfCarsThatDoNotCome(t *testing.T) {
	s := newSite(t)
	expected := intake()
	expected.ExpectedAt = timestamppb.New(monday.Add(24 * time.Hour))
	s.open(expected)
	if f := s.figures("2026-03-02", "2026-03-03"); f.GetArrived() != 0 {
		t.Errorf("a car that is only expected counts: %v", f)
	}
	s.wait(time.Hour).commit([]proto.Message{&jobv1.JobCancelled{Job: job1, Reason: "sold"}})
	if len(s.st.stays.Open) != 0 || len(s.st.stays.Past) != 0 {
		t.Errorf("it is kept: %v", s.st.stays)
	}
}

func TestWindows(t *testing.T) {
	s := newSite(t)
	for name, c := range map[string]struct{ from, to, zone, field string }{
		"days are the wrong way round": {"2026-03-03", "2026-03-02", "", "to"},
		"too many days":                {"2025-01-01", "2026-03-02", "", "to"},
		"no such day":                  {"2026-02-30", "2026-03-02", "", "from"},
		"no such day at the end":       {"2026-02-20", "2026-13-02", "", "to"},
		"no such zone":                 {"2026-02-20", "2026-03-02", "Mars/North", "time_zone"},
	} {
		_, err := s.st.Figures(&jobv1.GetFiguresRequest{From: c.from, To: c.to, TimeZone: c.zone}, s.now)
		t.Log(name)
		wantRefusal(t, err, "WINDOW_INVALID", c.field)
	}
	for _, token := range []string{"x", "-1"} {
		_, err := pageOf(&flow.Figures{}, &jobv1.ListVisitsRequest{PageToken: token})
		wantRefusal(t, err, "PAGE_TOKEN_INVALID", "page_token")
	}
	// A day of 23 hours is a day.
	f := s.figures("2026-03-28", "2026-03-30")
	if len(f.GetDays()) != 0 {
		t.Errorf("days that are still to come: %v", f.GetDays())
	}
	s.now = monday.AddDate(0, 2, 0)
	f = s.figures("2026-03-28", "2026-03-30")
	if n := len(f.GetDays()); n != 3 || f.GetDays()[1].GetWhen().GetEnd().AsTime().Sub(f.GetDays()[1].GetWhen().GetStart().AsTime()) != 23*time.Hour || len(f.GetWeeks()) != 2 {
		t.Errorf("days over the change of the clocks: %v", f.GetDays())
	}
}

// What scheduling tells of bays and people is kept as it changes, and tools are not.
func TestHoursAreHeard(t *testing.T) {
	s := newSite(t)
	bay := &schedulingv1.Resource{Name: "bays/1", Title: "Bay 1", Type: "lift", Shifts: []*schedulingv1.Shift{{Weekday: 1, FromMinute: 480, ToMinute: 960}}}
	if events := s.hear(&schedulingv1.ResourceSet{Resource: bay}); len(events) != 1 {
		t.Fatalf("a bay was set: %v", events)
	}
	for _, m := range []proto.Message{
		&schedulingv1.ResourceSet{Resource: bay},
		&schedulingv1.ResourceSet{Resource: &schedulingv1.Resource{Name: "tools/lock", Type: "lock"}},
		&schedulingv1.ResourceBlocked{Resource: "bays/9", Block: &schedulingv1.Block{Id: "block-1"}},
		&schedulingv1.ResourceUnblocked{Resource: "bays/9", Block: "block-1"},
	} {
		if events := s.hear(m); len(events) != 0 {
			t.Errorf("%v brought about %v", m, events)
		}
	}
	away := func(from, to int) *commonv1.Interval {
		return &commonv1.Interval{Start: timestamppb.New(monday.Add(time.Duration(from) * time.Hour)), End: timestamppb.New(monday.Add(time.Duration(to) * time.Hour))}
	}
	s.hear(&schedulingv1.ResourceBlocked{Resource: "bays/1", Block: &schedulingv1.Block{Id: "block-1", When: away(1, 3)}})
	s.wait(2 * time.Hour)
	s.hear(&schedulingv1.ResourceUnblocked{Resource: "bays/1", Block: "block-1"})
	s.wait(8 * time.Hour) // it is 19:00; open from 9 to 16 but for 10 to 11
	f := s.figures("2026-03-02", "2026-03-02")
	if len(f.GetUses()) != 1 || f.GetUses()[0].GetOpen().AsDuration() != 6*time.Hour {
		t.Errorf("open hours: %v", f.GetUses())
	}
	for i := range 3 * hoursKept {
		bay = proto.CloneOf(bay)
		bay.Shifts[0].ToMinute = uint32(961 + i)
		s.hear(&schedulingv1.ResourceSet{Resource: bay})
	}
	if n := len(s.st.hours["bays/1"]); n != hoursKept {
		t.Errorf("%d versions are kept, want %d", n, hoursKept)
	}
}

// The newest stays are kept, and the figures say from when on they are complete.
func TestStaysAreBounded(t *testing.T) {
	s := newSite(t)
	for i := range staysKept + 2*staysDropped {
		name := jobName(uint64(i + 1))
		s.commit([]proto.Message{
			&jobv1.JobOpened{Job: name, Vehicle: &jobv1.Vehicle{Vin: vin}, Customer: &jobv1.Customer{Name: "Otto Wend"}, Complaint: "shakes"},
			&jobv1.JobCancelled{Job: name, Reason: "sold"},
		})
		s.wait(time.Minute)
		if n := len(s.st.stays.Past); n >= staysKept+staysDropped {
			t.Fatalf("%d stays are kept", n)
		}
	}
	f := s.figures("2026-03-02", "2026-03-03")
	if got, want := f.GetCompleteFrom().AsTime(), monday.Add((2*staysDropped-1)*time.Minute); !got.Equal(want) || f.GetCancelled() != staysKept {
		t.Errorf("complete from %v with %d jobs, want %v with %d", got, f.GetCancelled(), want, staysKept)
	}
}

// Rosters, overtime, maintenance, closed days and the site's zone are in the hours that figures count by: on Monday 9
// March 2026 in Vienna, an hour ahead of UTC.
func TestHoursOfASite(t *testing.T) {
	vienna := func(hour int) time.Time { return time.Date(2026, time.March, 9, hour-1, 0, 0, 0, time.UTC) }
	during := func(from, to int) *commonv1.Interval {
		return &commonv1.Interval{Start: timestamppb.New(vienna(from)), End: timestamppb.New(vienna(to))}
	}
	eightToFour := []*schedulingv1.Shift{{Weekday: 1, FromMinute: 8 * 60, ToMinute: 16 * 60}}
	closed := &schedulingv1.ClosedDay{Name: "closed-days/lake", Title: "Lake day", First: "2026-03-09"}
	overtime := &schedulingv1.OvertimePlanned{Resource: "people/ada", Overtime: &schedulingv1.Overtime{Id: "o1", When: during(18, 20), Reason: "ill child"}}
	late := &schedulingv1.RosterSet{Resource: "people/ada", Roster: &schedulingv1.Roster{From: "2026-03-02", Weeks: []*schedulingv1.RosterWeek{
		{}, {Shifts: []*schedulingv1.Shift{{Weekday: 1, FromMinute: 12 * 60, ToMinute: 22 * 60}}},
	}}}
	pump := &schedulingv1.MaintenancePlanned{Resource: "people/ada", Maintenance: &schedulingv1.Maintenance{
		Id: "m1", Title: "training", First: "2026-03-06", FromMinute: 14 * 60, Minutes: 60, EveryDays: 3,
	}}
	for name, c := range map[string]struct {
		heard []proto.Message
		want  time.Duration
	}{
		"shifts":          {nil, 8 * time.Hour},
		"overtime":        {[]proto.Message{overtime}, 10 * time.Hour},
		"withdrawn":       {[]proto.Message{overtime, &schedulingv1.OvertimeWithdrawn{Resource: "people/ada", Overtime: "o1"}}, 8 * time.Hour},
		"closed":          {[]proto.Message{closedSet(closed)}, 0},
		"worked all same": {[]proto.Message{closedSet(closed), overtime}, 2 * time.Hour},
		"bays closed": {[]proto.Message{closedSet(&schedulingv1.ClosedDay{
			Name: closed.GetName(), First: closed.GetFirst(), Kinds: []schedulingv1.ResourceKind{schedulingv1.ResourceKind_RESOURCE_KIND_BAY},
		})}, 8 * time.Hour},
		"open again":     {[]proto.Message{closedSet(closed), &schedulingv1.ClosedDayRemoved{ClosedDay: closed.GetName()}}, 8 * time.Hour},
		"second week":    {[]proto.Message{late}, 10 * time.Hour},
		"roster removed": {[]proto.Message{late, &schedulingv1.RosterRemoved{Resource: "people/ada", From: "2026-03-02"}}, 8 * time.Hour},
		"third day":      {[]proto.Message{pump}, 7 * time.Hour},
		"no longer":      {[]proto.Message{pump, &schedulingv1.MaintenanceEnded{Resource: "people/ada", Maintenance: "m1"}}, 8 * time.Hour},
		"another zone":   {[]proto.Message{&schedulingv1.ZoneSet{Zone: "Pacific/Auckland"}}, 4 * time.Hour}, // the shift of its Monday ends at 04:00 in Vienna
	} {
		t.Run(name, func(t *testing.T) {
			s := newSite(t)
			s.now = vienna(0)
			s.hear(&schedulingv1.ZoneSet{Zone: "Europe/Vienna"})
			s.hear(&schedulingv1.ResourceSet{Resource: &schedulingv1.Resource{Name: "people/ada", Shifts: eightToFour}})
			for _, m := range c.heard {
				s.hear(m)
			}
			s.now = vienna(48)
			f, err := s.st.Figures(&jobv1.GetFiguresRequest{From: "2026-03-09", To: "2026-03-09", TimeZone: "Europe/Vienna"}, s.now)
			if err != nil {
				t.Fatal(err)
			}
			var got time.Duration
			for _, u := range f.GetUses() { // none was open: none is told of
				got += u.GetOpen().AsDuration()
			}
			if got != c.want {
				t.Errorf("open for %v, want %v", got, c.want)
			}
			if hours := s.st.hours.now("people/ada"); len(hours.GetOvertime()) > 0 && hours.GetOvertime()[0].GetReason() != "" {
				t.Errorf("why somebody works longer is kept: %v", hours)
			}
		})
	}
}

func closedSet(day *schedulingv1.ClosedDay) proto.Message {
	return &schedulingv1.ClosedDaySet{ClosedDay: day}
}
