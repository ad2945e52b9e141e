package desk

import (
	"fmt"
	"math"
	"strconv"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

// The charts' measures, in their own units: as wide as a phone, so that letters stay legible there.
const (
	chartWide   = 480
	chartLeft   = 34 // of the flow chart's axis
	chartHigh   = 190
	chartFoot   = 24
	chartTop    = 10
	barLeft     = 150 // where bars begin, behind their names
	barPitch    = 26
	barLongest  = 250
	labelLetter = 17 // a name has so many letters at most
)

// flowChart shows how many jobs were closed in each span, and how many were here.
type flowChart struct {
	Columns []flowColumn
	Line    string // of the jobs here on average, as an SVG polyline
	Ticks   []tick
	Height  int
}

type flowColumn struct {
	X, Y, Width, Height int
	Middle, LineY       int
	Label               string // under it; empty where there is no room
	Title               string // the whole day
	Day                 *jobv1.DayFigures
	Link                string
}

type tick struct {
	Y     int
	Value string
}

func (d *Desk) flowChart(days []*jobv1.DayFigures) flowChart {
	c := flowChart{Height: chartTop + chartHigh + chartFoot}
	if len(days) == 0 {
		return c
	}
	highest := 1.0
	for _, day := range days {
		highest = max(highest, float64(day.GetClosed()), day.GetPresent())
	}
	step := tickStep(highest)
	top := step * math.Ceil(highest/step)
	y := func(value float64) int { return chartTop + int(math.Round(chartHigh*(1-value/top))) }
	for value := 0.0; value <= top; value += step {
		c.Ticks = append(c.Ticks, tick{Y: y(value), Value: strconv.FormatFloat(value, 'f', -1, 64)})
	}
	room := (chartWide - chartLeft) / len(days)
	every := max(1, int(math.Ceil(58/float64(room))))
	for i, day := range days {
		start, end := day.GetWhen().GetStart().AsTime().In(d.Zone), day.GetWhen().GetEnd().AsTime().In(d.Zone).Add(-time.Nanosecond)
		column := flowColumn{
			X: chartLeft + i*room + max(1, room/8), Width: max(2, room-2*max(1, room/8)), Y: y(float64(day.GetClosed())), Day: day,
			Middle: chartLeft + i*room + room/2, LineY: y(day.GetPresent()), Title: d.words.date(start, ".short"),
			Link: visitsLink(start.Format(time.DateOnly), end.Format(time.DateOnly), "closed", ""),
		}
		if end.Format(time.DateOnly) != start.Format(time.DateOnly) {
			column.Title += " – " + d.words.date(end, ".short")
		}
		column.Height = y(0) - column.Y
		if i%every == 0 {
			column.Label = d.words.dayOfMonth(start)
		}
		c.Columns = append(c.Columns, column)
		c.Line += fmt.Sprintf("%d,%d ", column.Middle, column.LineY)
	}
	return c
}

// tickStep is 1, 2 or 5 times a power of ten, so that there are at most six steps.
func tickStep(highest float64) float64 {
	power := 1.0
	for {
		for _, step := range []float64{1, 2, 5} {
			if highest <= 6*step*power {
				return step * power
			}
		}
		power *= 10
	}
}

// stageRows are bars as long as the mean of each stage, with a mark at the time that four of five do not exceed.
func stageRows(f *jobv1.GetFiguresResponse, from, to string) []barRow {
	var longest time.Duration
	for _, s := range f.GetStages() {
		longest = max(longest, s.GetTime().GetMean().AsDuration(), s.GetTime().GetP80().AsDuration())
	}
	var rows []barRow
	for i, s := range f.GetStages() {
		rows = append(rows, barRow{
			Stage: s.GetStage(), Y: i * barPitch, Text: i*barPitch + 17, Kind: stageKind(s.GetStage()),
			Main: scaled(s.GetTime().GetMean(), longest), Mark: scaled(s.GetTime().GetP80(), longest),
			Link: visitsLink(from, to, "stage", strconv.Itoa(int(s.GetStage()))),
		})
	}
	return rows
}

func scaled(part *durationpb.Duration, whole time.Duration) int {
	if whole <= 0 {
		return 0
	}
	return int(barLongest * part.AsDuration() / whole)
}

// stageKind is how the style sheet knows a stage: waiting, working, or neither.
func stageKind(s jobv1.Stage) string {
	switch s {
	case jobv1.Stage_STAGE_WORK, jobv1.Stage_STAGE_PROVING, jobv1.Stage_STAGE_DIAGNOSIS:
		return "work"
	case jobv1.Stage_STAGE_REWORK:
		return "again"
	case jobv1.Stage_STAGE_CLOSED:
		return "shut"
	default:
		return "wait"
	}
}

// useRows are bars as long as a bay or person was busy, within what could be.
func useRows(f *jobv1.GetFiguresResponse, from, to string) []barRow {
	var rows []barRow
	for i, u := range f.GetUses() {
		row := barRow{
			Name: u.GetResource(), Title: clip(u.GetTitle(), labelLetter), Y: i * barPitch, Text: i*barPitch + 17, Kind: "work", Back: barLongest,
			Main: int(barLongest * min(1, u.GetUtilisation())), Link: visitsLink(from, to, "use", u.GetResource()),
		}
		if u.GetOpen() == nil {
			row.Back = 0
		}
		rows = append(rows, row)
	}
	return rows
}

func barsHeight(rows []barRow) int { return max(1, len(rows)) * barPitch }
