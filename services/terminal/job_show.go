package terminal

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

func jobList(o *options) *cobra.Command {
	var state string
	var finished bool
	var limit int
	command := &cobra.Command{
		Use:     "list",
		Short:   "List jobs, newest first",
		Example: "  ramprow job list\n  ramprow job list --state in-work\n  ramprow job list --with-finished --output json",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			wanted, err := chooseOptional[jobv1.JobState]("--state", state)
			if err != nil {
				return err
			}
			rows, err := collect(s, limit, func(size int32, token string) ([]*jobv1.JobSummary, string, error) {
				r, err := s.Job.ListJobs(ctx, &jobv1.ListJobsRequest{
					PageSize: size, PageToken: token, State: wanted, WithFinished: finished, MinRevision: s.atLeast,
				})
				return r.GetJobs(), r.GetNextPageToken(), err
			})
			if err != nil {
				return err
			}
			return showList(s, rows, "No job here. Take one in: ramprow job open COMPLAINT …", jobColumns(s.now()))
		}),
	}
	command.Flags().StringVar(&state, "state", "", "only jobs in this state: "+strings.Join(choices[jobv1.JobState](), ", "))
	command.Flags().BoolVar(&finished, "with-finished", false, "closed and cancelled ones too")
	limitFlag(command, &limit)
	completeFlag(command, "state", choices[jobv1.JobState]()...)
	return command
}

func jobColumns(now time.Time) []column[*jobv1.JobSummary] {
	return []column[*jobv1.JobSummary]{
		figure("JOB", func(j *jobv1.JobSummary) string { return number(j.GetName()) }),
		left("STATE", func(j *jobv1.JobSummary) string { return word(j.GetState()) }),
		left("PLATE", (*jobv1.JobSummary).GetPlate),
		left("CUSTOMER", (*jobv1.JobSummary).GetCustomer),
		left("BAY", func(j *jobv1.JobSummary) string { return number(j.GetBay()) }),
		left("WHO", func(j *jobv1.JobSummary) string { return number(j.GetTechnician()) }),
		left("WHEN", func(j *jobv1.JobSummary) string { return during(j.GetBooked(), now) }),
		left("WAITS FOR, OR NEXT", func(j *jobv1.JobSummary) string {
			if j.GetWaitingFor() != "" {
				return "waits: " + j.GetWaitingFor()
			}
			return j.GetNextStep()
		}),
	}
}

func jobShow(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "show JOB",
		Short:   "Show one job as it stands",
		Example: "  ramprow job show 17\n  ramprow job show 17 --output json",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, _ []string) error {
			r, err := s.Job.GetJob(ctx, &jobv1.GetJobRequest{Job: job, MinRevision: s.atLeast})
			if err != nil {
				return err
			}
			if s.json {
				return s.showJSON(r.GetJob())
			}
			return jobCard(r.GetJob(), s.now()).write(s.out)
		}),
	}
}

func jobCard(j *jobv1.Job, now time.Time) *card {
	c := &card{}
	c.add("Job", number(j.GetName())+", "+word(j.GetState()))
	v := j.GetVehicle()
	c.add("Car", fmt.Sprintf("%s  %s  %s  %d km", v.GetPlate(), v.GetVin(), j.GetCatalogueVersion(), v.GetOdometerKm()))
	c.add("Customer", strings.TrimSuffix(j.GetCustomer().GetName()+", "+j.GetCustomer().GetContact(), ", "))
	c.add("Complaint", j.GetComplaint())
	c.add("Expected", at(j.GetExpectedAt(), now))
	c.add("Wanted by", at(j.GetWantedBy(), now))
	addEvidence(c, j)
	if p := j.GetPlan(); p != nil {
		c.add("Broken", strings.Join(j.GetCauses(), ", "))
		c.add("Way", p.GetWay().GetName())
		c.add("Left to do", effort(p))
		c.add("Estimate", money(estimate(p))+" without tax")
	}
	for _, a := range j.GetAuthorisations() {
		c.add("Authorised", fmt.Sprintf("up to %s by %s (%s)", money(a.GetUpTo()), a.GetGivenBy(), a.GetHow()))
	}
	if a := j.GetAuthorityAsked(); a != nil {
		c.add("To be asked", fmt.Sprintf("%s, %s are authorised: %s", money(a.GetEstimate()), money(a.GetAuthorised()), a.GetReason()))
	}
	addAround(c, j, now)
	addAtCar(c, j)
	c.add("Invoice", j.GetInvoice().GetNumber())
	c.add("Cancelled", j.GetCancelReason())
	c.add("Next", nextFor(j))
	return c
}

func addEvidence(c *card, j *jobv1.Job) {
	for _, r := range j.GetCodeReports() {
		codes := make([]string, len(r.GetCodes()))
		for i, code := range r.GetCodes() {
			codes[i] = code.GetCode()
		}
		c.add("Codes", word(r.GetMoment())+": "+orWord(strings.Join(codes, ", "), "none"))
	}
	for _, sy := range j.GetSymptoms() {
		c.add("Symptom", sy.GetSymptom()+map[bool]string{false: " (not there)"}[sy.GetPresent()])
	}
	for _, t := range j.GetTests() {
		c.add("Test", t.GetTest()+" "+word(t.GetOutcome()))
	}
}

// addAround is what the other services have said.
func addAround(c *card, j *jobv1.Job, now time.Time) {
	if p := j.GetParts(); p != nil {
		text := word(p.GetState())
		if len(p.GetShortParts()) > 0 {
			text += ": " + strings.Join(p.GetShortParts(), ", ") + " missing, here " + orWord(at(p.GetEta(), now), "when ordered")
		}
		c.add("Parts", text)
	}
	if b := j.GetBooking(); b != nil {
		c.add("Bay", orWord(strings.TrimSpace(fmt.Sprintf("%s %s %s", number(b.GetBay()), number(b.GetTechnician()), during(b.GetWhen(), now))), "waits: "+b.GetWaitingFor()))
	}
	if a := j.GetAudit(); a != nil {
		c.add("Tightening", fmt.Sprintf("%s, %d of %d joints proved", word(a.GetState()), a.GetJointsProved(), a.GetJoints()))
		for _, r := range a.GetRechecks() {
			c.add("Check again", r.GetTitle()+": "+r.GetSays())
		}
	}
}

// addAtCar is what lies in trays, in the engine and on the car.
func addAtCar(c *card, j *jobv1.Job) {
	for _, t := range j.GetToolsOnCar() {
		c.add("Tool on car", t.GetTitle())
	}
	for _, p := range j.GetTrays() {
		if open := p.GetCount() - p.GetSettled(); open > 0 {
			c.add("In tray", fmt.Sprintf("%d × %s (%s)", open, p.GetTitle(), p.GetTray()))
		}
	}
	for _, d := range j.GetDebris() {
		c.add("Debris", fmt.Sprintf("%s: %d of %d pieces of %s found", d.GetFinding(), d.GetFound(), d.GetMissing(), d.GetPiece()))
	}
}

func orWord(text, instead string) string {
	if text == "" {
		return instead
	}
	return text
}

func jobStory(o *options) *cobra.Command {
	var limit int
	command := &cobra.Command{
		Use:     "story JOB",
		Short:   "Tell what happened to a job, event by event",
		Example: "  ramprow job story 17",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, _ []string) error {
			rows, err := collect(s, limit, func(size int32, token string) ([]*jobv1.HistoryEntry, string, error) {
				r, err := s.Job.GetJobHistory(ctx, &jobv1.GetJobHistoryRequest{Job: job, PageSize: size, PageToken: token, MinRevision: s.atLeast})
				return r.GetEntries(), r.GetNextPageToken(), err
			})
			if err != nil {
				return err
			}
			return showList(s, rows, "Nothing has happened yet.", []column[*jobv1.HistoryEntry]{
				left("AT", func(e *jobv1.HistoryEntry) string { return at(e.GetAt(), s.now()) }),
				left("BY", (*jobv1.HistoryEntry).GetBy),
				left("WHAT", (*jobv1.HistoryEntry).GetText),
			})
		}),
	}
	limitFlag(command, &limit)
	return command
}
