package bays

import (
	"fmt"
	"math/rand/v2"
	"time"

	"ramprow/internal/engine/planner"
	"ramprow/internal/engine/planner/workshop"
)

// monday is when every drawn workshop begins.
var monday = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

// Size is how large a workshop is.
type Size struct {
	Bays, People, Jobs int
	// Operations of each job.
	Operations int
}

// draw makes a workshop that is busy: cars come over as many days as the bays need
// for them, and are wanted some days later.
func draw(size Size, seed uint64) workshop.Problem {
	d := newDrawer(seed, size.Jobs)
	p := workshop.Problem{Now: monday}
	kinds := []string{"lift", "lift", "lift", "pit", "flat"}
	for i := range size.Bays {
		p.Bays = append(p.Bays, planner.Bay{Name: fmt.Sprintf("bays/%d", i+1), Kind: kinds[i%len(kinds)]})
	}
	for i := range size.People {
		p.People = append(p.People, d.person(i))
	}
	for i := range max(2, size.Bays/5) {
		p.Tools = append(p.Tools, planner.Tool{Name: fmt.Sprintf("tools/%d", i+1), Type: []string{"lock", "holder"}[i%2]})
	}
	days := max(2, size.Jobs*6/(size.Bays*5))
	for i := range size.Jobs {
		j := workshop.Job{
			Name: fmt.Sprintf("jobs/%d", i+1), Priority: d.IntN(3),
			Release: d.morning(d.IntN(days)).Add(time.Duration(d.IntN(16)) * 30 * time.Minute),
			Ways:    []workshop.Way{d.way(size.Operations)},
		}
		j.Due = d.evening(j.Release, 1+d.IntN(4))
		switch d.IntN(5) {
		case 0:
			j.BayKinds = []string{"pit", "lift"}
		case 1:
		default:
			j.BayKinds = []string{"lift", "flat"}
		}
		p.Jobs = append(p.Jobs, j)
	}
	return p
}

type drawer struct{ *rand.Rand }

func newDrawer(seed uint64, stream int) drawer {
	return drawer{rand.New(rand.NewPCG(seed, uint64(stream)))} //nolint:gosec // the seed is given, nothing is secret
}

// person works from seven or eight with half an hour at noon; one in three may open
// a refrigerant circuit, one in five stays longer for overtime.
func (d drawer) person(i int) planner.Person {
	h := planner.Person{Name: fmt.Sprintf("people/%d", i+1), Skills: []planner.Skill{{Name: "engine"}}}
	from := 7 + i%2
	for day := time.Monday; day <= time.Friday; day++ {
		h.Calendar.Shifts = append(h.Calendar.Shifts,
			planner.Shift{Weekday: day, From: from * 60, To: 12 * 60},
			planner.Shift{Weekday: day, From: 12*60 + 30, To: (from + 8) * 60})
	}
	if i%3 == 0 {
		h.Skills = append(h.Skills, planner.Skill{Name: "cold"})
	}
	if i%5 == 0 {
		for day := range 12 {
			evening := d.morning(day).Add(time.Duration(from) * time.Hour)
			h.Calendar.Extra = append(h.Calendar.Extra, planner.Interval{Start: evening, End: evening.Add(2 * time.Hour)})
		}
	}
	return h
}

// way opens step by step, works at one or two things at a time, lets something cool
// and something cure, and closes.
func (d drawer) way(n int) workshop.Way {
	var w workshop.Way
	for k := range n {
		o := workshop.Operation{Name: fmt.Sprint(k + 1), Effort: time.Duration(2+d.IntN(10)) * 5 * time.Minute}
		switch {
		case k == n/2 && n > 3:
			o.Unattended, o.Effort = true, time.Hour // it cures
		case d.IntN(6) == 0:
			o.Skills = []string{"cold"}
		case d.IntN(2) == 0:
			o.Skills = []string{"engine"}
		}
		if !o.Unattended && d.IntN(12) == 0 {
			o.ToolTypes = []string{"lock"}
		}
		o.Whole = !o.Unattended && d.IntN(8) == 0
		w.Operations = append(w.Operations, o)
		if k == 0 {
			continue
		}
		l := workshop.Lag{From: k - 1, To: k}
		if k > 2 && d.IntN(4) == 0 && k != n-1 {
			l.From = k - 2 // beside the one before
		}
		switch d.IntN(15) {
		case 0:
			l.Min = 30 * time.Minute
		case 1:
			most := 24 * time.Hour
			l.Max = &most
		}
		w.Lags = append(w.Lags, l)
	}
	for k := range n - 1 { // everything is done before it is closed
		w.Lags = append(w.Lags, workshop.Lag{From: k, To: n - 1})
	}
	return w
}

// morning is eight on the nth working day.
func (d drawer) morning(n int) time.Time { return monday.AddDate(0, 0, n/5*7+n%5) }

// evening is five on the nth working day after a time.
func (d drawer) evening(t time.Time, n int) time.Time {
	day := time.Date(t.Year(), t.Month(), t.Day(), 17, 0, 0, 0, time.UTC)
	for n > 0 {
		if day = day.AddDate(0, 0, 1); day.Weekday() != time.Saturday && day.Weekday() != time.Sunday {
			n--
		}
	}
	return day
}
