package flow

import (
	"cmp"
	"slices"
	"time"
)

// Little holds both sides of Little's law, L = λW (J. D. C. Little, Operations
// Research 9, 1961), for a window that begins and ends with jobs in it. Then
//
//	∫N dt = stays of those that arrived in it + Before − After
//
// holds exactly, whatever the distributions are: Before is the time in the window
// of jobs that were here when it began, After is the time after it of jobs that
// arrived in it. Present is counted from comings and goings, the right side from
// each job's own stay; a Residual other than 0 means that one of them is wrong.
type Little struct {
	Length        int64
	Present       int64 // ∫N dt, job-nanoseconds
	Arrivals      int
	Stays         int64 // of the arrivals; of those still here up to now
	Before, After int64
	Residual      int64
}

// Jobs is L: how many were here on average.
func (l Little) Jobs() float64 { return ratio(l.Present, l.Length) }

// PerDay is λ: arrivals per 24 hours.
func (l Little) PerDay() float64 {
	return ratio(int64(l.Arrivals)*int64(24*time.Hour), l.Length)
}

// Stay is W: the mean stay of the arrivals, in nanoseconds.
func (l Little) Stay() int64 {
	if l.Arrivals == 0 {
		return 0
	}
	return l.Stays / int64(l.Arrivals)
}

// Product is λW without the edges.
func (l Little) Product() float64 { return ratio(l.Stays, l.Length) }

// Edges is what corrects it: (Before − After) over the window's length.
func (l Little) Edges() float64 { return ratio(l.Before-l.After, l.Length) }

func little(rows []Row, span Span, now int64) Little {
	l := Little{Length: span.length()}
	for i := range rows {
		stay := Span{rows[i].Arrived, rows[i].until(now)}
		if stay.From >= span.From {
			l.Arrivals++
			l.Stays += stay.length()
			l.After += Span{span.To, max(span.To, stay.To)}.length()
		} else {
			l.Before += stay.clip(span).length()
		}
	}
	for _, s := range steps(rows, span) {
		l.Present += int64(s.jobs) * s.length()
	}
	l.Residual = l.Present - (l.Stays + l.Before - l.After)
	return l
}

// step is a stretch in which nobody came or went.
type step struct {
	Span

	jobs int
}

// steps counts the jobs present from one coming or going to the next.
func steps(rows []Row, span Span) []step {
	type change struct {
		at int64
		by int
	}
	var changes []change
	for i := range rows {
		stay := Span{rows[i].Arrived, rows[i].until(span.To)}.clip(span)
		if stay.length() > 0 {
			changes = append(changes, change{stay.From, 1}, change{stay.To, -1})
		}
	}
	slices.SortFunc(changes, func(a, b change) int { return cmp.Compare(a.at, b.at) })
	var all []step
	at, jobs := span.From, 0
	for i := 0; i < len(changes); {
		if next := changes[i].at; next > at {
			all = append(all, step{Span{at, next}, jobs})
			at = next
		}
		for ; i < len(changes) && changes[i].at == at; i++ {
			jobs += changes[i].by
		}
	}
	if at < span.To {
		all = append(all, step{Span{at, span.To}, jobs})
	}
	return all
}

func most(rows []Row, span Span) int {
	highest := 0
	for _, s := range steps(rows, span) {
		highest = max(highest, s.jobs)
	}
	return highest
}

func ratio(a, b int64) float64 {
	if b == 0 {
		return 0
	}
	return float64(a) / float64(b)
}
