package traces

import (
	"container/list"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	tracesv1 "ramprow/proto/ramprow/traces/v1"
)

// overhead is what a trace and a span take beside their text, by measuring how
// the heap grows (see TestTheStoreTakesWhatItSays).
const (
	traceOverhead = 1200
	spanOverhead  = 180
)

// record is one trace. Spans are kept encoded: that is compact, has an exact
// size, and gives the garbage collector nothing to look through.
type record struct {
	id      string
	number  uint64 // in the order in which traces arrived
	arrived time.Time
	spans   []piece
	lost    uint32
	size    int64

	start, end time.Time
	root       time.Time // start of the span that gives the name
	name       string
	took       time.Duration
	errors     uint32
	error      string
	parked     uint32

	sites, people, about, services []string

	ofNote     bool
	all, class *list.Element
}

// piece is one span: its id to tell repetitions, its site to tell who may see
// it, and its name in lower case to be found by.
type piece struct {
	id, site, lower string
	data            []byte
}

// has tells whether a span is here already: exporters send again what was not
// answered in time.
func (r *record) has(id string) bool {
	return slices.ContainsFunc(r.spans, func(p piece) bool { return p.id == id })
}

// add takes a span, and gives how many bytes the record has grown.
func (r *record) add(a arrived, data []byte) int64 {
	before := r.size
	s := a.span
	p := piece{id: s.GetSpanId(), site: s.GetSite(), lower: strings.ToLower(s.GetName()), data: data}
	r.spans = append(r.spans, p)
	r.size += spanOverhead + int64(len(p.lower)+len(data)+len(s.GetSite()))

	start := s.GetStart().AsTime()
	end := start.Add(s.GetTook().AsDuration())
	if r.start.IsZero() || start.Before(r.start) {
		r.start = start
	}
	if r.end.IsZero() {
		r.end = start
	}
	if !lasting(s) {
		r.took = max(r.took, s.GetTook().AsDuration())
		if end.After(r.end) {
			r.end = end
		}
	}
	if r.name == "" || start.Before(r.root) {
		r.name, r.root = s.GetName(), start
	}
	if s.GetFailed() {
		if r.errors == 0 {
			r.error = s.GetError()
		}
		r.errors++
	}
	if a.parked {
		r.parked++
	}
	r.tag(&r.sites, s.GetSite())
	r.tag(&r.people, a.person)
	r.tag(&r.services, a.service)
	for _, name := range a.about {
		r.tag(&r.about, name)
	}
	return r.size - before
}

// lasting tells whether a span lasts as long as somebody looks at a page: streams
// are called Watch…, by the house's convention, and are never slow.
func lasting(s *tracesv1.Span) bool {
	name := s.GetName()
	return strings.HasPrefix(name[strings.LastIndexByte(name, '/')+1:], "Watch")
}

// tag adds a word once, up to a bound.
func (r *record) tag(tags *[]string, word string) {
	if word == "" || len(*tags) >= maxTags || slices.Contains(*tags, word) {
		return
	}
	*tags = append(*tags, word)
	r.size += int64(len(word)) + 16
}

// worthNoting tells whether somebody will want to look at it.
func (r *record) worthNoting(slow time.Duration) bool {
	return r.errors > 0 || r.parked > 0 || r.took >= slow
}

// visible tells whether a site may see a span of this trace: its own ones, and
// those of no site in a trace that is its alone.
func (r *record) visible(p piece, site string) bool {
	return p.site == site || p.site == "" && len(r.sites) == 1 && r.sites[0] == site
}

// decode gives the spans that a site may see.
func (r *record) decode(site string) []*tracesv1.Span {
	var spans []*tracesv1.Span
	for _, p := range r.spans {
		if !r.visible(p, site) {
			continue
		}
		s := &tracesv1.Span{}
		if err := proto.Unmarshal(p.data, s); err != nil {
			continue // this store has encoded it
		}
		spans = append(spans, s)
	}
	slices.SortStableFunc(spans, func(a, b *tracesv1.Span) int { return a.GetStart().AsTime().Compare(b.GetStart().AsTime()) })
	return spans
}

func (r *record) summary() *tracesv1.TraceSummary {
	return &tracesv1.TraceSummary{
		TraceId: r.id, Name: r.name, Start: timestamppb.New(r.start), Took: durationpb.New(r.took), Lasted: durationpb.New(r.end.Sub(r.start)),
		Spans: uint32(len(r.spans)), Errors: r.errors, Error: r.error, Parked: r.parked, //nolint:gosec // bounded by Limits
		People: slices.Clone(r.people), About: slices.Clone(r.about), Services: slices.Clone(r.services), LostSpans: r.lost,
	}
}
