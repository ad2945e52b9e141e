package desk

import (
	"net/url"
	"strconv"
	"strings"
	"time"

	"golang.org/x/text/message"
	"golang.org/x/text/number"
	"google.golang.org/protobuf/types/known/durationpb"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

// figuresDays is how many days are shown if nobody says: two weeks.
const figuresDays = 14

// manyDays is from how many days on the charts show weeks.
const manyDays = 35

// figuresView is what the owner sees of a window of days.
type figuresView struct {
	From, To string
	// Ranges are windows that are often wanted.
	Ranges []rangeLink
	F      *jobv1.GetFiguresResponse
	// Empty: no car was here.
	Empty  bool
	Weekly bool
	Flow   flowChart
	Stages []barRow
	Uses   []barRow
	Stock  stockView
	// Sum is λW with its edges, which must be the jobs present.
	Sum float64
}

// rangeLink leads to the figures of some days up to today.
type rangeLink struct {
	Key, From, To string
	Here          bool
}

// barRow is one bar of a chart with what it stands for. Lengths are in the chart's units.
type barRow struct {
	Stage            jobv1.Stage
	Name, Title      string
	Y, Text          int
	Main, Mark, Back int
	Kind             string
	Link             string
}

func (d *Desk) showFigures(v *visit) error {
	from, to, err := d.figureDays(v)
	if err != nil {
		return err
	}
	f, err := d.Services.Figures.GetFigures(v.ctx, &jobv1.GetFiguresRequest{From: from, To: to, TimeZone: d.zoneName()})
	if err != nil {
		return err
	}
	view := figuresView{From: from, To: to, Ranges: d.ranges(from, to), F: f, Weekly: len(f.GetDays()) > manyDays}
	view.Empty = f.GetLittle().GetPresentTime().AsDuration() == 0
	if view.Stock, err = d.stockFigures(v, from, to); err != nil {
		return err
	}
	shown := f.GetDays()
	if view.Weekly {
		shown = f.GetWeeks()
	}
	view.Flow = d.flowChart(shown)
	view.Stages = stageRows(f, from, to)
	view.Uses = useRows(f, from, to)
	view.Sum = f.GetLittle().GetArrivalsPerDay()*f.GetLittle().GetStay().AsDuration().Hours()/24 + f.GetLittle().GetEdges()
	return v.render("figures", view)
}

// zoneName is the desk's zone as a service reads it. A zone without a name (the machine's own) is told by the name that
// the machine has for it, or is UTC.
func (d *Desk) zoneName() string {
	if name := d.Zone.String(); name != "Local" {
		return name
	}
	return localZone()
}

// figureDays reads which days are wanted; none are the last two weeks.
func (d *Desk) figureDays(v *visit) (from, to string, err error) {
	q := v.r.URL.Query()
	today, err := d.boardDay("")
	if err != nil {
		return "", "", err
	}
	from, to = q.Get("from"), q.Get("to")
	if to == "" {
		to = today.Format(time.DateOnly)
	}
	if from == "" {
		from = today.AddDate(0, 0, 1-figuresDays).Format(time.DateOnly)
	}
	for name, text := range map[string]string{"from": from, "to": to} {
		if _, err := time.Parse(time.DateOnly, text); err != nil {
			return "", "", badField(name, "must be a day as in 2026-03-09")
		}
	}
	return from, to, nil
}

func (d *Desk) ranges(from, to string) []rangeLink {
	today, err := d.boardDay("")
	if err != nil {
		return nil
	}
	var all []rangeLink
	for _, r := range []struct {
		key  string
		days int
	}{{"day", 1}, {"week", 7}, {"month", 28}, {"quarter", 91}} {
		link := rangeLink{Key: r.key, From: today.AddDate(0, 0, 1-r.days).Format(time.DateOnly), To: today.Format(time.DateOnly)}
		link.Here = link.From == from && link.To == to
		all = append(all, link)
	}
	return all
}

// visitsLink leads to the jobs behind a figure.
func visitsLink(from, to, figure, of string) string {
	q := url.Values{"from": {from}, "to": {to}, "figure": {figure}}
	if of != "" {
		q.Set("of", of)
	}
	return "/figures/jobs?" + q.Encode()
}

func (v figuresView) Link(figure string) string { return visitsLink(v.From, v.To, figure, "") }

// visitsView is the jobs behind one figure.
type visitsView struct {
	From, To  string
	Figure    jobv1.Figure
	Stage     jobv1.Stage
	Of        string
	Visits    []*jobv1.Visit
	Next      string
	HasWeight bool
}

func (d *Desk) showVisits(v *visit) error {
	from, to, err := d.figureDays(v)
	if err != nil {
		return err
	}
	q := v.r.URL.Query()
	request := &jobv1.ListVisitsRequest{From: from, To: to, TimeZone: d.zoneName(), PageSize: pageSize, PageToken: q.Get("after")}
	request.Figure = jobv1.Figure(jobv1.Figure_value["FIGURE_"+strings.ToUpper(q.Get("figure"))])
	if request.GetFigure() == jobv1.Figure_FIGURE_UNSPECIFIED {
		return badField("figure", "is none that there are; open one from the figures")
	}
	switch of := q.Get("of"); request.GetFigure() {
	case jobv1.Figure_FIGURE_STAGE:
		n, err := strconv.ParseInt(of, 10, 32)
		if err != nil || jobv1.Stage_name[int32(n)] == "" {
			return badField("of", "is no stage; open one from the figures")
		}
		request.Stage = jobv1.Stage(n)
	case jobv1.Figure_FIGURE_USE:
		request.Resource = of
	default:
	}
	r, err := d.Services.Figures.ListVisits(v.ctx, request)
	if err != nil {
		return err
	}
	view := visitsView{From: from, To: to, Figure: request.GetFigure(), Stage: request.GetStage(), Of: last(request.GetResource()), Visits: r.GetVisits()}
	if token := r.GetNextPageToken(); token != "" {
		view.Next = visitsLink(from, to, q.Get("figure"), q.Get("of")) + "&after=" + url.QueryEscape(token)
	}
	switch request.GetFigure() {
	case jobv1.Figure_FIGURE_STAGE, jobv1.Figure_FIGURE_USE, jobv1.Figure_FIGURE_QUOTE, jobv1.Figure_FIGURE_PROMISE:
		view.HasWeight = true
	default:
	}
	return v.render("visits", view)
}

// proportion writes a share in the desk's language.
func (d *Desk) proportion(share float64) string {
	return message.NewPrinter(d.Language).Sprint(number.Percent(share, number.MaxFractionDigits(0)))
}

// shareOf is a part of a whole; nothing of nothing is nothing.
func (d *Desk) shareOf(part, whole uint32) string {
	if whole == 0 {
		return "–"
	}
	return d.proportion(float64(part) / float64(whole))
}

// signedSpan writes a duration that may be below zero.
func (d *Desk) signedSpan(length *durationpb.Duration) string {
	if length.AsDuration() < 0 {
		return "−" + d.lasting(durationpb.New(-length.AsDuration()))
	}
	return d.lasting(length)
}

// dayShort writes a day as in 2026-03-09 shorter.
func (d *Desk) dayShort(day string) string {
	at, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return day
	}
	return d.words.say("date.year", d.words.dayOfMonth(at), at.Year())
}
