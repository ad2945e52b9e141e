package traces

import (
	"cmp"
	"container/list"
	"slices"
	"strings"
	"time"

	tracesv1 "ramprow/proto/ramprow/traces/v1"
)

// Query says which traces are wanted. Every condition that is set must be met.
type Query struct {
	Site         string // always
	About        string
	Person       string
	Service      string
	Since, Until time.Time
	AtLeast      time.Duration
	ErrorsOnly   bool
	ParkedOnly   bool
	Text         string
	Before       uint64 // number of the last one of the page before; 0: the newest
	Most         int
}

// Find gives the newest traces that a query asks for, and the number to go on
// from; 0: there are no more.
func (s *Store) Find(q Query) (found []*tracesv1.TraceSummary, next uint64) {
	q.Text = strings.ToLower(q.Text)
	s.mu.Lock()
	defer s.mu.Unlock()
	s.trim(s.now())
	var last uint64
	for r := range s.newest(q) {
		if q.Before > 0 && r.number >= q.Before || !q.wants(r) {
			continue
		}
		summary := r.summaryFor(q.Site)
		if !q.wantsSummary(summary) {
			continue
		}
		if len(found) == q.Most {
			return found, last
		}
		found, last = append(found, summary), r.number
	}
	return found, 0
}

// newest goes through the traces from the newest to the oldest: those of what is
// asked about, or all.
func (s *Store) newest(q Query) func(yield func(*record) bool) {
	if q.About != "" {
		about := slices.Clone(s.byAbout[q.About])
		slices.SortFunc(about, func(a, b *record) int { return cmp.Compare(b.number, a.number) })
		return slices.Values(about)
	}
	return func(yield func(*record) bool) {
		for e := s.all.Back(); e != nil; e = e.Prev() {
			if !yield(recordOf(e)) {
				return
			}
		}
	}
}

func recordOf(e *list.Element) *record {
	r, _ := e.Value.(*record)
	return r
}

// wants looks at the cheap marks first, over all sites.
func (q Query) wants(r *record) bool {
	switch {
	case !slices.Contains(r.sites, q.Site),
		q.Person != "" && !slices.Contains(r.people, q.Person),
		q.Service != "" && !slices.Contains(r.services, q.Service),
		!q.Until.IsZero() && !r.start.Before(q.Until),
		!q.Since.IsZero() && r.end.Before(q.Since),
		r.took < q.AtLeast,
		q.ErrorsOnly && r.errors == 0,
		q.ParkedOnly && r.parked == 0:
		return false
	}
	return q.Text == "" || slices.ContainsFunc(r.spans, func(p piece) bool {
		return r.visible(p, q.Site) && strings.Contains(p.lower, q.Text)
	})
}

// wantsSummary looks at what the site itself may see.
func (q Query) wantsSummary(t *tracesv1.TraceSummary) bool {
	start := t.GetStart().AsTime()
	return (q.About == "" || slices.Contains(t.GetAbout(), q.About)) &&
		(q.Person == "" || slices.Contains(t.GetPeople(), q.Person)) &&
		(q.Service == "" || slices.Contains(t.GetServices(), q.Service)) &&
		(q.Since.IsZero() || !start.Before(q.Since)) && (q.Until.IsZero() || start.Before(q.Until)) &&
		t.GetTook().AsDuration() >= q.AtLeast && (!q.ErrorsOnly || t.GetErrors() > 0) && (!q.ParkedOnly || t.GetParked() > 0)
}

// Get gives one trace as a site may see it; nil: it sees none.
func (s *Store) Get(site, id string) (*tracesv1.TraceSummary, []*tracesv1.Span) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.trim(s.now())
	r := s.traces[id]
	if r == nil || !slices.Contains(r.sites, site) {
		return nil, nil
	}
	return r.summaryFor(site), r.decode(site)
}

// summaryFor is the summary of what a site may see. Somebody who borrows another
// site's trace id learns nothing of its spans by it, and hides none of them.
func (r *record) summaryFor(site string) *tracesv1.TraceSummary {
	if len(r.sites) == 1 {
		return r.summary()
	}
	own := &record{id: r.id, lost: r.lost}
	for _, span := range r.decode(site) {
		own.add(again(r.id, span), nil)
	}
	return own.summary()
}
