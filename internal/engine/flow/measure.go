package flow

import (
	"slices"
)

// Window is what is asked about. What lies after now is left out.
type Window struct {
	From, To, Now int64 // Unix time in nanoseconds
	// Days are the moments at which days begin within the window, in order.
	Days []int64
}

func (w Window) span() Span { return Span{w.From, max(w.From, min(w.To, w.Now))} }

// Figures are what a window shows. Durations are in nanoseconds.
type Figures struct {
	Span
	Arrived, Closed, Cancelled int
	Days                       []Day
	Little                     Little
	// Stay is of the jobs that were closed in the window, from arrival to invoice.
	Stay Spread
	// Stages of the same jobs; each has its place, so the means add up to the stay's.
	Stages [Stages]StageFigure
	Uses   []Use
	// Stations are the pools that jobs queue for; Bottleneck is the name of one, empty
	// if nobody has told when they are open. LongestWait is the wait that took most of
	// everybody's time in the window.
	Stations    []Station
	Bottleneck  string
	LongestWait Stage
	Quote       Quote
	Promises    Promises
	Joints      Joints
	Rows        []Row
}

// Day is one day of the window, or the part of it that is in it.
type Day struct {
	Span
	Arrived, Closed, Cancelled int
	// Present is the time that all jobs were here, added up; Most and Last are how
	// many there were at most, and at the end.
	Present    int64
	Most, Last int
}

// Spread tells of a list of times.
type Spread struct{ Total, Mean, Median, P80 int64 }

// StageFigure is what became of one stage.
type StageFigure struct {
	Spread

	Jobs int // that spent any time on it
	// InWindow is the time that all jobs, closed or not, spent on it in the window.
	InWindow int64
}

// Quote compares what was sold with what it took, of the jobs closed in the window.
type Quote struct {
	Jobs, Over    int // Over: took longer than sold
	Quoted, Taken int64
}

// Promises are those of the jobs closed in the window.
type Promises struct {
	Given, Held int
	// Low and High enclose the share that is held in the long run, 19 times of 20.
	Low, High float64
}

// Joints are those of the jobs closed in the window.
type Joints struct{ Tightened, FirstTime int }

// Row is one job that was here in the window, with its whole stay until the window's end.
type Row struct {
	*Visit

	Arrived int64
	Here    bool // still, at the window's end
	Closed  bool // in the window
	Stages  [Stages]int64
	// Used is for how long it kept each bay and person busy in the window.
	Used map[string]int64
}

// Stay is how long it has been here.
func (r *Row) Stay() int64 {
	var sum int64
	for _, t := range r.Stages {
		sum += t
	}
	return sum
}

// Held tells whether the last step was done by the time that was promised.
func (v *Visit) Held() bool { return v.Promised != 0 && v.Finished != 0 && v.Finished <= v.Promised }

// Measure makes the figures of a window. The cost grows with the marks of the
// visits times the bays and people, and with the kinds of needs that there are.
func Measure(shop Shop, w Window) *Figures {
	f := &Figures{Span: w.span()}
	here := present(shop.Visits, f.Span)
	horizon := Span{f.From, f.To}
	for _, v := range here {
		horizon.From = min(horizon.From, v.Marks[0].At)
	}
	s := look(shop, horizon)
	occupied := map[string][]Span{}
	for _, v := range here {
		f.Rows = append(f.Rows, f.row(s, v, occupied))
	}
	f.count(w.Days)
	f.Little = little(f.Rows, f.Span, w.Now)
	f.spread()
	f.outcome()
	open := map[string][]Span{}
	for i := range shop.Resources {
		open[shop.Resources[i].Name] = shop.Resources[i].open(f.Span)
	}
	f.use(shop.Resources, open, occupied)
	f.stations(open)
	return f
}

// present are the visits that were here at some time of a span, by number.
func present(visits []Visit, span Span) []*Visit {
	var here []*Visit
	for i := range visits {
		v := &visits[i]
		if at, arrived := v.arrived(); arrived && at < span.To && (v.Ended == 0 || v.Ended >= span.From) {
			here = append(here, v)
		}
	}
	slices.SortFunc(here, func(a, b *Visit) int { return int(a.Number) - int(b.Number) }) //nolint:gosec // small numbers
	return here
}

// row measures one visit, and notes what it occupied.
func (f *Figures) row(s *sweep, v *Visit, occupied map[string][]Span) Row {
	ended := v.Ended != 0 && v.Ended < f.To
	r := Row{
		Visit: v, Arrived: v.Marks[0].At, Here: !ended,
		Closed: ended && v.Ended >= f.From && !v.Cancelled, Used: map[string]int64{},
	}
	for _, part := range s.stretches(v) {
		r.Stages[part.stage] += part.length()
		f.Stages[part.stage].InWindow += part.clip(f.Span).length()
	}
	used := map[string][]Span{}
	for i, m := range v.Marks {
		span := v.span(i, f.To).clip(f.Span)
		if span.length() == 0 {
			continue
		}
		if m.Bay != "" {
			used[m.Bay] = append(used[m.Bay], span)
		}
		for _, hand := range m.hands() {
			used[people+hand] = append(used[people+hand], span)
		}
	}
	for name, spans := range used {
		for _, span := range spans {
			r.Used[name] += span.length()
		}
		occupied[name] = append(occupied[name], spans...)
	}
	return r
}

// count tells who came, went and was here, for the window and for each of its days.
func (f *Figures) count(days []int64) {
	for i, from := range days {
		day := Span{from, f.To}
		if i+1 < len(days) {
			day.To = min(day.To, days[i+1])
		}
		if day = day.clip(f.Span); day.length() > 0 {
			f.Days = append(f.Days, countDay(f.Rows, day))
		}
	}
	all := countDay(f.Rows, f.Span)
	f.Arrived, f.Closed, f.Cancelled = all.Arrived, all.Closed, all.Cancelled
}

func countDay(rows []Row, span Span) Day {
	day := Day{Span: span}
	for i := range rows {
		v := rows[i].Visit
		arrived := rows[i].Arrived
		if arrived >= span.From && arrived < span.To {
			day.Arrived++
		}
		switch gone := v.Ended >= span.From && v.Ended < span.To; {
		case gone && v.Cancelled:
			day.Cancelled++
		case gone:
			day.Closed++
		}
		day.Present += Span{arrived, v.until(span.To)}.clip(span).length()
		if arrived < span.To && (v.Ended == 0 || v.Ended >= span.To) {
			day.Last++
		}
	}
	day.Most = most(rows, span)
	return day
}

// spread sums up the stays and stages of the jobs that were closed.
func (f *Figures) spread() {
	var stays []int64
	var stages [Stages][]int64
	for i := range f.Rows {
		r := &f.Rows[i]
		if !r.Closed {
			continue
		}
		stays = append(stays, r.Stay())
		for s, t := range r.Stages {
			stages[s] = append(stages[s], t)
			if t > 0 {
				f.Stages[s].Jobs++
			}
		}
	}
	f.Stay = spreadOf(stays)
	for s := range stages {
		f.Stages[s].Spread = spreadOf(stages[s])
	}
	for _, s := range []Stage{WaitingForAuthority, WaitingForParts, WaitingForBay, WaitingForTechnician} {
		if f.LongestWait == InDiagnosis || f.Stages[s].InWindow > f.Stages[f.LongestWait].InWindow {
			f.LongestWait = s
		}
	}
	if f.Stages[f.LongestWait].InWindow == 0 {
		f.LongestWait = InDiagnosis // nothing waited
	}
}

func (f *Figures) outcome() {
	for i := range f.Rows {
		r := &f.Rows[i]
		if !r.Closed {
			continue
		}
		f.Joints.Tightened += int(r.Tightened)
		f.Joints.FirstTime += int(r.FirstTime)
		if r.Quoted > 0 {
			f.Quote.Jobs++
			f.Quote.Quoted += int64(r.Quoted)
			f.Quote.Taken += int64(r.Taken)
			if r.Taken > r.Quoted {
				f.Quote.Over++
			}
		}
		if r.Promised != 0 {
			f.Promises.Given++
			if r.Held() {
				f.Promises.Held++
			}
		}
	}
	f.Promises.Low, f.Promises.High = Wilson(f.Promises.Held, f.Promises.Given)
}
