package desk

import (
	"slices"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	jobv1 "ramprow/proto/ramprow/job/v1"
	tracesv1 "ramprow/proto/ramprow/traces/v1"
)

const (
	historyPage  = 500
	historyPages = 4
)

// storyView is all that happened to a job, over its days.
type storyView struct {
	Job     *jobv1.Job
	Lanes   []storyLane
	Marks   []hour
	Entries []*jobv1.HistoryEntry
	// Cut: there is more than a page can show.
	Cut   bool
	Found foundTraces
}

// storyLane is one strand of a job's story: the bars are times that passed, the
// points are events.
type storyLane struct {
	Title string
	Y     int
	Bars  []storyBar
	Dots  []int
}

type storyBar struct {
	Left, Width int
	Kind        string // wait or work
}

func (d *Desk) showStory(v *visit) error {
	r, err := d.Services.Job.GetJob(v.ctx, &jobv1.GetJobRequest{Job: v.job()})
	if err != nil {
		return err
	}
	view := &storyView{Job: r.GetJob()}
	token := ""
	for page := 0; page == 0 || token != ""; page++ {
		if view.Cut = page == historyPages; view.Cut {
			break
		}
		h, err := d.Services.Job.GetJobHistory(v.ctx, &jobv1.GetJobHistoryRequest{Job: v.job(), PageSize: historyPage, PageToken: token})
		if err != nil {
			return err
		}
		view.Entries = append(view.Entries, h.GetEntries()...)
		token = h.GetNextPageToken()
	}
	slices.SortStableFunc(view.Entries, func(a, b *jobv1.HistoryEntry) int { return a.GetAt().AsTime().Compare(b.GetAt().AsTime()) })
	view.draw(d)
	view.Found, err = d.findTraces(v, &tracesv1.FindTracesRequest{About: v.job(), PageSize: tracesOnPage, PageToken: v.r.URL.Query().Get("after")})
	if err != nil {
		return err
	}
	return v.render("story", view)
}

// strands of a story with the events that belong to each, in the order in which a
// job goes through them.
var strands = []struct {
	word   string
	events []string
}{
	{"story.intake", []string{"JobOpened", "AppointmentChanged", "VehicleReceived", "CodesRead", "SymptomNoted", "TestRecorded", "EvidenceWithdrawn"}},
	{"story.plan", []string{"DiagnosisConfirmed", "PlanRevised", "FindingReported", "DesignFound"}},
	{"story.authority", []string{"AuthorityAsked", "WorkAuthorised"}},
	{"story.parts", []string{"PartsNoted"}},
	{"story.bay", []string{"BookingNoted"}},
	{"story.work", []string{"StepStarted", "StepPaused", "StepResumed", "StepDone", "WorkFinished"}},
	{"story.tightening", []string{"AuditNoted"}},
	{"story.proof", []string{"CodesCleared", "RoadTestRecorded"}},
	{"story.invoice", []string{"InvoiceClosed", "PaymentRecorded", "CreditNoteIssued", "JobCancelled"}},
}

// draw lays out what is known: the strands with their events, and each step below.
func (s *storyView) draw(d *Desk) {
	if len(s.Entries) == 0 {
		return
	}
	from := s.Entries[0].GetAt().AsTime()
	to := s.Entries[len(s.Entries)-1].GetAt().AsTime()
	if to.Sub(from) < time.Hour {
		to = from.Add(time.Hour)
	}
	s.Marks = d.dayMarks(from, to)
	for _, strand := range strands {
		lane := storyLane{Title: d.words.say(strand.word)}
		for _, e := range s.Entries {
			if slices.Contains(strand.events, e.GetEvent()) {
				lane.Dots = append(lane.Dots, fallNames+within(e.GetAt().AsTime(), from, to))
			}
		}
		if strand.word == "story.authority" {
			lane.Bars = s.waits(from, to)
		}
		s.lane(lane)
	}
	titles := map[string]string{}
	for _, step := range s.Job.GetPlan().GetSteps() {
		titles[step.GetId()] = step.GetTitle()
	}
	for _, p := range s.Job.GetProgress() {
		if p.GetStartedAt() == nil {
			continue
		}
		end := p.GetDoneAt()
		if end == nil {
			end = timestamppb.New(to)
		}
		title := titles[p.GetStep()]
		if title == "" {
			title = p.GetStep() // a plan that was revised since
		}
		s.lane(storyLane{Title: title, Bars: []storyBar{barOf(p.GetStartedAt().AsTime(), end.AsTime(), from, to, "work")}})
	}
}

func (s *storyView) lane(lane storyLane) {
	if len(lane.Dots)+len(lane.Bars) > 0 {
		lane.Y = fallHead + fallRow*len(s.Lanes)
		s.Lanes = append(s.Lanes, lane)
	}
}

// waits gives the times at which the customer's word was waited for: from the
// diagnosis, or from being asked once more, to the word.
func (s *storyView) waits(from, to time.Time) []storyBar {
	var bars []storyBar
	var since time.Time
	for _, e := range s.Entries {
		switch e.GetEvent() {
		case "DiagnosisConfirmed", "AuthorityAsked":
			if since.IsZero() && (e.GetEvent() == "AuthorityAsked" || len(bars) == 0) {
				since = e.GetAt().AsTime()
			}
		case "WorkAuthorised":
			if !since.IsZero() {
				bars = append(bars, barOf(since, e.GetAt().AsTime(), from, to, "wait"))
			}
			since = time.Time{}
		}
	}
	if !since.IsZero() && s.Job.GetInvoice() == nil {
		bars = append(bars, barOf(since, to, from, to, "wait"))
	}
	return bars
}

func barOf(start, end, from, to time.Time, kind string) storyBar {
	left := fallNames + within(start, from, to)
	return storyBar{Left: left, Width: max(2, fallNames+within(end, from, to)-left), Kind: kind}
}

// most marks that fit above a story.
const mostMarks = 8

// dayMarks gives round times between two moments, in the workshop's zone.
func (d *Desk) dayMarks(from, to time.Time) []hour {
	var marks []hour
	local := from.In(d.Zone)
	midnight := time.Date(local.Year(), local.Month(), local.Day(), 0, 0, 0, 0, d.Zone)
	if to.Sub(from) > 36*time.Hour {
		days := int(to.Sub(from)/(24*time.Hour))/mostMarks + 1
		for at := midnight; !at.After(to); at = at.AddDate(0, 0, days) {
			if !at.Before(from) {
				marks = append(marks, hour{At: fallNames + within(at, from, to), Text: d.words.date(at, ".short")})
			}
		}
		return marks
	}
	step := 15 * time.Minute
	for to.Sub(from) > step*mostMarks {
		step *= 2
	}
	for at := midnight; !at.After(to); at = at.Add(step) {
		if !at.Before(from) {
			marks = append(marks, hour{At: fallNames + within(at, from, to), Text: at.Format("15:04")})
		}
	}
	return marks
}
