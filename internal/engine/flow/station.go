package flow

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"strings"
)

// Use is how busy a bay or person was in the window.
type Use struct {
	Name, Title string
	Open        int64 // when it could be used
	Busy        int64 // within that time
	Beyond      int64 // busy outside it
	Jobs        int
}

// Utilisation is busy over open time; 0 where nobody has told when it is open.
func (u Use) Utilisation() float64 { return ratio(u.Busy, u.Open) }

// Station is a pool that jobs queue for: all bays, or all people.
type Station struct {
	Name       string // bays or people
	Resources  int    // that were open at all
	Open, Busy int64
	// Waiting is the time that jobs waited for it in the window.
	Waiting int64
	// Expected is what the same load would wait by Sakasegawa's formula.
	Expected Expectation
}

// Utilisation is busy over open time.
func (s Station) Utilisation() float64 { return ratio(s.Busy, s.Open) }

// Expectation is the mean wait of one job for a station by G/G/c queueing, with
// what it was computed from; Services is 0 where there were too few to tell.
type Expectation struct {
	Services int // jobs that were served in the window
	// Servers is how many were open at a time, on average.
	Servers float64
	// Service is the mean busy time of one job, in nanoseconds of open hours; the
	// others are squared coefficients of variation of it and of the gaps between arrivals.
	Service                int64
	ArrivalSCV, ServiceSCV float64
	Measured, Computed     int64 // mean waits of one job, nanoseconds
}

// fewServices is below what an expectation is worth telling. Judgement, no source.
const fewServices = 10

const (
	stationBays   = "bays"
	stationPeople = "people"
)

// use tells of every bay and person, those known by their work alone as well.
func (f *Figures) use(resources []Resource, open, occupied map[string][]Span) {
	for i := range resources {
		r := &resources[i]
		u := f.useOf(r.Name, r.title(), open[r.Name], union(occupied[r.Name]))
		if u.Open > 0 || u.Beyond > 0 {
			f.Uses = append(f.Uses, u)
		}
	}
	for _, name := range slices.Sorted(maps.Keys(occupied)) {
		if _, known := open[name]; !known {
			f.Uses = append(f.Uses, f.useOf(name, name, nil, union(occupied[name])))
		}
	}
	slices.SortFunc(f.Uses, func(a, b Use) int { return cmp.Compare(a.Name, b.Name) })
}

func (f *Figures) useOf(name, title string, open, busy []Span) Use {
	u := Use{Name: name, Title: title}
	for _, span := range open {
		u.Open += span.length()
	}
	for _, span := range busy {
		inside := overlap(span, open)
		u.Busy += inside
		u.Beyond += span.length() - inside
	}
	for i := range f.Rows {
		if f.Rows[i].Used[name] > 0 {
			u.Jobs++
		}
	}
	return u
}

// stations sums up the pools and names the bottleneck: the station with the highest
// utilisation over the window (W. J. Hopp and M. L. Spearman, Factory Physics: the
// station with the highest long-term utilisation limits throughput).
func (f *Figures) stations(open map[string][]Span) {
	for _, kind := range []struct {
		name, prefix string
		wait         Stage
	}{{stationBays, bays, WaitingForBay}, {stationPeople, people, WaitingForTechnician}} {
		s := Station{Name: kind.name, Waiting: f.Stages[kind.wait].InWindow}
		for _, u := range f.Uses {
			if strings.HasPrefix(u.Name, kind.prefix) && u.Open > 0 {
				s.Resources++
				s.Open += u.Open
				s.Busy += u.Busy
			}
		}
		s.Expected = f.expect(open, s, kind.prefix, kind.wait)
		f.Stations = append(f.Stations, s)
	}
	highest := 0.0
	for _, s := range f.Stations {
		if s.Utilisation() > highest {
			f.Bottleneck, highest = s.Name, s.Utilisation()
		}
	}
}

// expect computes the wait from the load. Time is that of the station's open hours:
// nights do not count, and whoever comes at night comes when it opens.
func (f *Figures) expect(open map[string][]Span, s Station, prefix string, wait Stage) Expectation {
	var all []Span
	for name, spans := range open {
		if strings.HasPrefix(name, prefix) {
			all = append(all, spans...)
		}
	}
	axis := union(all)
	var length int64
	for _, span := range axis {
		length += span.length()
	}
	var services, arrivals []float64
	var waited int64
	for i := range f.Rows {
		r := &f.Rows[i]
		if r.Arrived >= f.From {
			arrivals = append(arrivals, float64(overlap(Span{f.From, r.Arrived}, axis)))
		}
		var busy []Span
		for m, mark := range r.Marks {
			if prefix == bays && mark.Bay != "" || prefix == people && mark.Hands != "" {
				busy = append(busy, r.span(m, f.To).clip(f.Span))
			}
		}
		var service int64
		for _, span := range union(busy) {
			service += overlap(span, axis)
		}
		if r.Closed && service > 0 {
			services = append(services, float64(service))
			waited += r.Stages[wait]
		}
	}
	if len(services) < fewServices || len(arrivals) < fewServices || length == 0 || s.Utilisation() >= 1 {
		return Expectation{}
	}
	slices.Sort(arrivals)
	gaps := make([]float64, len(arrivals)-1)
	for i := range gaps {
		gaps[i] = arrivals[i+1] - arrivals[i]
	}
	e := Expectation{Services: len(services), Servers: ratio(s.Open, length), ArrivalSCV: scv(gaps), ServiceSCV: scv(services)}
	e.Service = int64(mean(services))
	e.Measured = waited / int64(len(services))
	e.Computed = int64(Sakasegawa(e.ArrivalSCV, e.ServiceSCV, float64(e.Service), max(1, int(math.Round(e.Servers))), s.Utilisation()))
	return e
}
