package traces

import (
	"container/list"
	"context"
	"slices"
	"sync"
	"time"

	tracepb "go.opentelemetry.io/proto/otlp/trace/v1"
	"google.golang.org/protobuf/proto"
)

// Store keeps traces in memory, and in files if it was opened with a folder.
type Store struct {
	limits Limits
	now    func() time.Time

	mu       sync.Mutex
	traces   map[string]*record
	all      *list.List // of *record, by number
	ordinary *list.List // of *record, oldest first
	ofNote   *list.List
	byAbout  map[string][]*record
	number   uint64
	spans    uint64
	bytes    int64
	noted    int64 // the part of bytes that traces of note take
	counts   Counts
	files    *segments // nil: in memory alone
}

// Counts is what has happened since the process began.
type Counts struct {
	Received, Refused, Repeated, Evicted uint64
}

// NewStore makes an empty store in memory.
func NewStore(limits Limits, now func() time.Time) *Store {
	return &Store{
		limits: limits.complete(), now: now, traces: map[string]*record{}, byAbout: map[string][]*record{},
		all: list.New(), ordinary: list.New(), ofNote: list.New(),
	}
}

// Refusal says how many spans of an export were not taken, and why the first was not.
type Refusal struct {
	Spans int64
	Why   error
}

// Add takes what a program has exported. A span that is not one is refused alone.
func (s *Store) Add(exported []*tracepb.ResourceSpans) Refusal {
	now := s.now()
	var refused Refusal
	var taken []arrived
	for _, resource := range exported {
		process := processOf(resource)
		for _, scope := range resource.GetScopeSpans() {
			for _, span := range scope.GetSpans() {
				a, err := read(span, process, now)
				if err != nil {
					refused.Spans++
					if refused.Why == nil {
						refused.Why = err
					}
					continue
				}
				taken = append(taken, a)
			}
		}
	}
	encoded := make([][]byte, len(taken))
	for i, a := range taken {
		data, err := proto.Marshal(a.span)
		if err != nil { // read has made every text valid
			refused.Spans, refused.Why = refused.Spans+1, err
			continue
		}
		encoded[i] = data
	}
	s.mu.Lock()
	s.counts.Refused += uint64(refused.Spans) //nolint:gosec // a count
	for i, a := range taken {
		if encoded[i] != nil {
			s.take(a, encoded[i], now)
		}
	}
	s.trim(now)
	files := s.files
	s.mu.Unlock()
	if files != nil {
		files.append(taken, encoded, now)
	}
	return refused
}

// UploadTraces takes the spans of this process itself.
func (s *Store) UploadTraces(_ context.Context, spans []*tracepb.ResourceSpans) error {
	if refused := s.Add(spans); refused.Why != nil {
		return refused.Why
	}
	return nil
}

func processOf(resource *tracepb.ResourceSpans) string {
	for _, kv := range resource.GetResource().GetAttributes() {
		if kv.GetKey() == "service.name" {
			return cut(kv.GetValue().GetStringValue(), maxName)
		}
	}
	return ""
}

// take adds one span to its trace.
func (s *Store) take(a arrived, data []byte, at time.Time) {
	s.counts.Received++
	r := s.traces[a.trace]
	if r == nil {
		s.number++
		r = &record{id: a.trace, number: s.number, arrived: at, size: traceOverhead}
		s.traces[a.trace] = r
		r.all, r.class = s.all.PushBack(r), s.ordinary.PushBack(r)
		s.bytes += r.size
	}
	if r.has(a.span.GetSpanId()) {
		s.counts.Repeated++
		return
	}
	if len(r.spans) >= s.limits.Spans {
		r.lost++
		return
	}
	known := len(r.about)
	grown := r.add(a, data)
	for _, name := range r.about[known:] {
		s.byAbout[name] = append(s.byAbout[name], r)
	}
	s.spans++
	s.bytes += grown
	if r.ofNote {
		s.noted += grown
		return
	}
	if r.worthNoting(s.limits.Slow) {
		s.ordinary.Remove(r.class)
		r.ofNote, r.class = true, s.ofNote.PushBack(r)
		s.noted += r.size
	}
}

// trim lets go of what is too old, and then of as much as is too large.
func (s *Store) trim(now time.Time) {
	for oldest := s.all.Front(); oldest != nil; oldest = s.all.Front() {
		r := recordOf(oldest)
		if now.Sub(r.arrived) <= s.limits.Age {
			break
		}
		s.drop(r)
	}
	for s.bytes > s.limits.Bytes {
		from := s.ordinary
		if s.noted > s.limits.Bytes/2 || from.Len() == 0 {
			from = s.ofNote
		}
		s.drop(recordOf(from.Front()))
	}
}

// drop forgets a trace.
func (s *Store) drop(r *record) {
	s.counts.Evicted++
	delete(s.traces, r.id)
	s.all.Remove(r.all)
	if r.ofNote {
		s.ofNote.Remove(r.class)
		s.noted -= r.size
	} else {
		s.ordinary.Remove(r.class)
	}
	for _, name := range r.about {
		rest := s.byAbout[name]
		if i := slices.Index(rest, r); i >= 0 {
			rest = slices.Delete(rest, i, i+1)
		}
		if len(rest) == 0 {
			delete(s.byAbout, name)
		} else {
			s.byAbout[name] = rest
		}
	}
	s.bytes -= r.size
	s.spans -= uint64(len(r.spans))
}

// Standing is how full a store is.
type Standing struct {
	Counts

	Traces, Spans uint64
	Bytes         int64
	Limits        Limits
	// Oldest is the zero time while there is none.
	Oldest time.Time
}

// Standing tells how full the store is.
func (s *Store) Standing() Standing {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.trim(s.now())
	standing := Standing{Counts: s.counts, Traces: uint64(len(s.traces)), Spans: s.spans, Bytes: s.bytes, Limits: s.limits}
	if oldest := s.all.Front(); oldest != nil {
		standing.Oldest = recordOf(oldest).arrived
	}
	return standing
}
