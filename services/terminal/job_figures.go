package terminal

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

// figureWindow is which days are asked about; the last two weeks if nobody says.
type figureWindow struct{ from, to, zone string }

func (w *figureWindow) bind(command *cobra.Command) {
	flags := command.Flags()
	flags.StringVar(&w.from, "from", "", "first day, as in 2026-03-02 (two weeks ago if not given)")
	flags.StringVar(&w.to, "to", "", "last day (today if not given)")
	flags.StringVar(&w.zone, "zone", "", "where days begin, as in Europe/Vienna (UTC if not given)")
}

// days fills in what was not given.
func (w *figureWindow) days(now time.Time) (from, to string) {
	if zone, err := time.LoadLocation(w.zone); err == nil { // the server refuses one that there is not
		now = now.In(zone)
	}
	from, to = w.from, w.to
	if to == "" {
		to = now.Format(time.DateOnly)
	}
	if from == "" {
		from = now.AddDate(0, 0, -13).Format(time.DateOnly)
	}
	return from, to
}

func jobFigures(o *options) *cobra.Command {
	var w figureWindow
	var behind string
	command := &cobra.Command{
		Use:   "figures",
		Short: "Show where the time goes: throughput, jobs here, stages, bottleneck",
		Long: "Shows how many jobs came and went in some days, how many were here, where their time went from arrival to invoice,\n" +
			"how busy bays and people were and which of them the rest waits for, what was sold against what it took, promises\n" +
			"held and joints right first time. With --behind it lists the jobs behind one of them: present, arrived, closed, quote,\n" +
			"promise, joints, a stage as in parts, or a bay or person as in bays/1.",
		Example: "  ramprow job figures\n  ramprow job figures --from 2026-03-02 --to 2026-03-08 --output json\n  ramprow job figures --behind parts",
	}
	command.RunE = o.run(func(ctx context.Context, s *session, _ []string) error {
		from, to := w.days(s.now())
		if behind != "" {
			return showBehind(ctx, s, &jobv1.ListVisitsRequest{From: from, To: to, TimeZone: w.zone}, behind)
		}
		f, err := s.Figures.GetFigures(ctx, &jobv1.GetFiguresRequest{From: from, To: to, TimeZone: w.zone})
		if err != nil {
			return err
		}
		if s.json {
			return s.showJSON(f)
		}
		return showFigures(s, f)
	})
	w.bind(command)
	command.Flags().StringVar(&behind, "behind", "", "list the jobs behind a figure")
	return command
}

func showFigures(s *session, f *jobv1.GetFiguresResponse) error {
	if err := figuresCard(f).write(s.out); err != nil {
		return err
	}
	if err := s.say(""); err != nil {
		return err
	}
	if err := writeTable(s.out, f.GetStages(), []column[*jobv1.StageFigures]{
		left("STAGE", func(g *jobv1.StageFigures) string { return word(g.GetStage()) }),
		figure("MEAN", func(g *jobv1.StageFigures) string { return span(g.GetTime().GetMean()) }),
		figure("MEDIAN", func(g *jobv1.StageFigures) string { return span(g.GetTime().GetMedian()) }),
		figure("P80", func(g *jobv1.StageFigures) string { return span(g.GetTime().GetP80()) }),
		figure("JOBS", func(g *jobv1.StageFigures) string { return fmt.Sprint(g.GetJobs()) }),
		figure("HERE", func(g *jobv1.StageFigures) string { return fmt.Sprintf("%.2f", g.GetPresent()) }),
	}); err != nil {
		return err
	}
	if err := s.say(""); err != nil {
		return err
	}
	if err := writeTable(s.out, f.GetUses(), []column[*jobv1.UseFigures]{
		left("BAY OR PERSON", (*jobv1.UseFigures).GetResource),
		figure("OPEN", func(u *jobv1.UseFigures) string { return span(u.GetOpen()) }),
		figure("BUSY", func(u *jobv1.UseFigures) string { return span(u.GetBusy()) }),
		figure("BEYOND", func(u *jobv1.UseFigures) string { return span(u.GetBeyond()) }),
		figure("%", func(u *jobv1.UseFigures) string { return fmt.Sprintf("%.0f", 100*u.GetUtilisation()) }),
		figure("JOBS", func(u *jobv1.UseFigures) string { return fmt.Sprint(u.GetJobs()) }),
	}); err != nil {
		return err
	}
	if err := s.say(""); err != nil {
		return err
	}
	return writeTable(s.out, f.GetDays(), []column[*jobv1.DayFigures]{
		left("DAY FROM", func(d *jobv1.DayFigures) string { return at(d.GetWhen().GetStart(), s.now()) }),
		figure("ARRIVED", func(d *jobv1.DayFigures) string { return fmt.Sprint(d.GetArrived()) }),
		figure("CLOSED", func(d *jobv1.DayFigures) string { return fmt.Sprint(d.GetClosed()) }),
		figure("CANCELLED", func(d *jobv1.DayFigures) string { return fmt.Sprint(d.GetCancelled()) }),
		figure("HERE", func(d *jobv1.DayFigures) string { return fmt.Sprintf("%.2f", d.GetPresent()) }),
		figure("AT MOST", func(d *jobv1.DayFigures) string { return fmt.Sprint(d.GetMost()) }),
	})
}

func figuresCard(f *jobv1.GetFiguresResponse) *card {
	c := &card{}
	c.add("Jobs", fmt.Sprintf("%d arrived, %d closed, %d cancelled", f.GetArrived(), f.GetClosed(), f.GetCancelled()))
	l := f.GetLittle()
	law := fmt.Sprintf("L %.3f = λ %.2f a day × W %s + edges %.3f", l.GetPresent(), l.GetArrivalsPerDay(), span(l.GetStay()), l.GetEdges())
	if residual := l.GetResidual().AsDuration(); residual != 0 {
		law += fmt.Sprintf("; the two sides differ by %v", residual)
	}
	c.add("Little's law", law)
	c.add("Stay", fmt.Sprintf("mean %s, median %s, 4 of 5 within %s", span(f.GetStay().GetMean()), span(f.GetStay().GetMedian()), span(f.GetStay().GetP80())))
	c.add("Bottleneck", bottleneckLine(f))
	c.add("Longest wait", word(f.GetLongestWait()))
	q, p, j := f.GetQuote(), f.GetPromises(), f.GetJoints()
	c.add("Sold and taken", fmt.Sprintf("%s and %s; %d of %d jobs took longer", span(q.GetQuoted()), span(q.GetTaken()), q.GetOver(), q.GetJobs()))
	c.add("Promises", fmt.Sprintf("%d of %d held, made to be held %.0f %% (19 times of 20 between %.0f and %.0f %%)", p.GetHeld(), p.GetGiven(), 100*p.GetSureness(), 100*p.GetLow(), 100*p.GetHigh()))
	c.add("Joints", fmt.Sprintf("%d of %d right first time", j.GetFirstTime(), j.GetTightened()))
	if f.GetCompleteFrom() != nil {
		c.add("Complete", "for days after "+f.GetCompleteFrom().AsTime().Format(time.DateOnly))
	}
	return c
}

func bottleneckLine(f *jobv1.GetFiguresResponse) string {
	for _, s := range f.GetStations() {
		if s.GetStation() != f.GetBottleneck() {
			continue
		}
		text := fmt.Sprintf("%s, %.0f %% busy, %.2f jobs waiting for them", s.GetStation(), 100*s.GetUtilisation(), s.GetQueue())
		if e := s.GetExpected(); e != nil {
			text += fmt.Sprintf("; a mean wait of %s, by Sakasegawa's formula %s", span(e.GetMeasured()), span(e.GetComputed()))
		}
		return text
	}
	return "none can be named: nobody was at work, or nobody has told when bays and people are open"
}

// showBehind lists the jobs behind a figure that is told in a word.
func showBehind(ctx context.Context, s *session, r *jobv1.ListVisitsRequest, behind string) error {
	upper := strings.ToUpper(strings.ReplaceAll(behind, " ", "_"))
	switch {
	case jobv1.Stage_value["STAGE_"+upper] > 0:
		r.Figure, r.Stage = jobv1.Figure_FIGURE_STAGE, jobv1.Stage(jobv1.Stage_value["STAGE_"+upper])
		if upper == "CLOSED" { // a figure has the same name; the stage is the closed workshop
			r.Figure, r.Stage = jobv1.Figure_FIGURE_CLOSED, jobv1.Stage_STAGE_UNSPECIFIED
		}
	case strings.Contains(behind, "/"):
		r.Figure, r.Resource = jobv1.Figure_FIGURE_USE, behind
	case jobv1.Figure_value["FIGURE_"+upper] > 0 && upper != "STAGE" && upper != "USE":
		r.Figure = jobv1.Figure(jobv1.Figure_value["FIGURE_"+upper])
	default:
		return fmt.Errorf("no figure is called %q; say present, arrived, closed, quote, promise, joints, a stage as in parts, or a resource as in bays/1", behind)
	}
	var all []*jobv1.Visit
	for {
		page, err := s.Figures.ListVisits(ctx, r)
		if err != nil {
			return err
		}
		all = append(all, page.GetVisits()...)
		if r.PageToken = page.GetNextPageToken(); r.GetPageToken() == "" {
			break
		}
	}
	return showList(s, all, "No job stands behind this figure in these days.", []column[*jobv1.Visit]{
		figure("JOB", func(v *jobv1.Visit) string { return number(v.GetJob()) }),
		figure("IN FIGURE", func(v *jobv1.Visit) string { return span(v.GetWeight()) }),
		left("ARRIVED", func(v *jobv1.Visit) string { return at(v.GetArrived(), s.now()) }),
		left("LEFT", func(v *jobv1.Visit) string { return at(v.GetEnded(), s.now()) }),
		figure("STAY", func(v *jobv1.Visit) string { return span(v.GetStay()) }),
		figure("SOLD", func(v *jobv1.Visit) string { return span(v.GetQuoted()) }),
		figure("TAKEN", func(v *jobv1.Visit) string { return span(v.GetTaken()) }),
		left("PROMISED", func(v *jobv1.Visit) string { return at(v.GetPromised(), s.now()) }),
		left("DONE", func(v *jobv1.Visit) string { return at(v.GetFinished(), s.now()) }),
	})
}
