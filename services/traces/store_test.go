package traces

import (
	"fmt"
	"log/slog"
	"maps"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	tracepb "go.opentelemetry.io/proto/otlp/trace/v1"
	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	"ramprow/internal/platform/telemetry"
	tracesv1 "ramprow/proto/ramprow/traces/v1"
)

func ids(found []*tracesv1.TraceSummary) []string {
	var short []string
	for _, t := range found {
		short = append(short, strings.TrimLeft(t.GetTraceId(), "0"))
	}
	return short
}

// A trace is found by each thing that a person knows of it.
func TestFind(t *testing.T) {
	c := &clock{at: noon}
	s := NewStore(Limits{}, c.now)
	opening := call(1, 11, "north")
	opening.Attributes = append(opening.Attributes, word(telemetry.AttributePerson, "dario"), about("jobs/17"))
	s.Add(from("ramprow-job", opening))
	reaction := call(1, 12, "north")
	reaction.Name, reaction.ParentSpanId = "react job JobOpened", id(11, 8)
	reaction.Attributes = append(reaction.Attributes, word(telemetry.AttributeService, "inventory"), about("jobs/17", "bays/2"))
	s.Add(from("ramprow-inventory", reaction))
	slow := lasting10(call(2, 21, "north"), 200)
	slow.Attributes = append(slow.Attributes, word(telemetry.AttributePerson, "tomas"), about("jobs/18"))
	refused := failed(call(3, 31, "north"), "no such bay")
	parked := call(4, 41, "north")
	parked.Attributes = append(parked.Attributes, word(telemetry.AttributeParked, "job.7.0.0"))
	parked.StartTimeUnixNano += uint64(time.Hour)
	parked.EndTimeUnixNano += uint64(time.Hour)
	watching := lasting10(call(5, 51, "north"), 100000)
	watching.Name = "ramprow.job.v1.JobService/WatchJobs"
	s.Add(from("ramprow-job", slow, refused, parked, watching, call(6, 61, "south")))

	for name, tt := range map[string]struct {
		q    Query
		want []string
	}{
		"all of a site":          {Query{}, []string{"5", "4", "3", "2", "1"}},
		"of another":             {Query{Site: "south"}, []string{"6"}},
		"of none":                {Query{Site: "east"}, nil},
		"a job":                  {Query{About: "jobs/17"}, []string{"1"}},
		"a bay, by its reaction": {Query{About: "bays/2"}, []string{"1"}},
		"a job of another site":  {Query{Site: "south", About: "jobs/17"}, nil},
		"a person":               {Query{Person: "tomas"}, []string{"2"}},
		"a service":              {Query{Service: "inventory"}, []string{"1"}},
		"slow, streams are not":  {Query{AtLeast: time.Second}, []string{"2"}},
		"failed":                 {Query{ErrorsOnly: true}, []string{"3"}},
		"parked":                 {Query{ParkedOnly: true}, []string{"4"}},
		"later":                  {Query{Since: noon.Add(time.Minute)}, []string{"4"}},
		"earlier":                {Query{Until: noon.Add(time.Minute), Person: "dario"}, []string{"1"}},
		"a name":                 {Query{Text: "JOBOPENED"}, []string{"1"}},
		"two conditions":         {Query{Person: "dario", About: "jobs/18"}, nil},
	} {
		t.Run(name, func(t *testing.T) {
			if tt.q.Site == "" {
				tt.q.Site = "north"
			}
			tt.q.Most = 50
			found, next := s.Find(tt.q)
			if diff := cmp.Diff(tt.want, ids(found)); diff != "" || next != 0 {
				t.Errorf("next %d, %s", next, diff)
			}
		})
	}

	summary, spans := s.Get("north", fmt.Sprintf("%032x", 1))
	if summary.GetName() != "workshop/Call" || summary.GetSpans() != 2 || len(spans) != 2 || spans[1].GetProcess() != "ramprow-inventory" ||
		spans[1].GetParentSpanId() != spans[0].GetSpanId() || !slices.Equal(summary.GetAbout(), []string{"jobs/17", "bays/2"}) {
		t.Errorf("the trace is %v with %v", summary, spans)
	}
	if summary, _ := s.Get("south", fmt.Sprintf("%032x", 1)); summary != nil {
		t.Error("another site sees the trace")
	}
}

func TestPages(t *testing.T) {
	s := NewStore(Limits{}, (&clock{at: noon}).now)
	for n := range uint64(7) {
		s.Add(from("p", call(n+1, n+1, "north")))
	}
	var all []string
	for before, pages := uint64(0), 0; ; pages++ {
		found, next := s.Find(Query{Site: "north", Before: before, Most: 3})
		all = append(all, ids(found)...)
		if next == 0 {
			break
		}
		if before = next; pages > 3 {
			t.Fatal("the pages do not end")
		}
	}
	if diff := cmp.Diff([]string{"7", "6", "5", "4", "3", "2", "1"}, all); diff != "" {
		t.Error(diff)
	}
}

// Who borrows another site's trace id sees its own spans alone, and hides none of the others.
func TestABorrowedTraceID(t *testing.T) {
	s := NewStore(Limits{}, (&clock{at: noon}).now)
	secret := call(1, 1, "north")
	secret.Attributes = append(secret.Attributes, word(telemetry.AttributePerson, "ines"), about("jobs/17"))
	nobody := call(1, 2, "")
	s.Add(from("p", failed(secret, "a secret"), nobody))
	s.Add(from("p", call(1, 3, "south")))
	north, northern := s.Get("north", fmt.Sprintf("%032x", 1))
	south, southern := s.Get("south", fmt.Sprintf("%032x", 1))
	if len(northern) != 1 || north.GetError() != "a secret" || !slices.Equal(north.GetPeople(), []string{"ines"}) {
		t.Errorf("the owner of the trace sees %v, %v", north, northern)
	}
	if len(southern) != 1 || south.GetErrors() != 0 || len(south.GetPeople())+len(south.GetAbout()) != 0 {
		t.Errorf("the borrower sees %v, %v", south, southern)
	}
	if found, _ := s.Find(Query{Site: "south", About: "jobs/17", Most: 9}); len(found) != 0 {
		t.Errorf("the borrower finds %v", found)
	}
}

func TestASpanThatIsNone(t *testing.T) {
	now := noon
	for name, spoil := range map[string]func(*tracepb.Span){
		"no trace id":         func(s *tracepb.Span) { s.TraceId = nil },
		"a trace id of zeros": func(s *tracepb.Span) { s.TraceId = make([]byte, 16) },
		"a long trace id":     func(s *tracepb.Span) { s.TraceId = make([]byte, 1<<20) },
		"a short span id":     func(s *tracepb.Span) { s.SpanId = []byte{1} },
		"a short parent":      func(s *tracepb.Span) { s.ParentSpanId = []byte{1} },
		"an end before":       func(s *tracepb.Span) { s.EndTimeUnixNano = s.GetStartTimeUnixNano() - 1 },
		"no times":            func(s *tracepb.Span) { s.StartTimeUnixNano, s.EndTimeUnixNano = 0, 0 },
		"a time beyond all":   func(s *tracepb.Span) { s.EndTimeUnixNano = 1<<64 - 1 },
	} {
		t.Run(name, func(t *testing.T) {
			s := NewStore(Limits{}, func() time.Time { return now })
			bad := call(1, 1, "north")
			spoil(bad)
			refused := s.Add(from("p", bad, call(2, 2, "north")))
			if refused.Spans != 1 || refused.Why == nil {
				t.Errorf("refused %d: %v", refused.Spans, refused.Why)
			}
			if st := s.Standing(); st.Traces != 1 || st.Refused != 1 || st.Received != 1 {
				t.Errorf("the store has %+v", st)
			}
		})
	}
}

// A span that is too large is cut to what one may take.
func TestAHugeSpan(t *testing.T) {
	s := NewStore(Limits{}, (&clock{at: noon}).now)
	huge := failed(call(1, 1, "north"), strings.Repeat("é", 1<<16))
	huge.Name = strings.Repeat("n", 1<<16)
	for i := range 1000 {
		huge.Attributes = append(huge.Attributes, word(fmt.Sprint(i), strings.Repeat("v", 10000)))
		huge.Events = append(huge.Events, &tracepb.Span_Event{Name: huge.GetName()})
	}
	if refused := s.Add(from(huge.GetName(), huge)); refused.Spans != 0 {
		t.Fatal(refused.Why)
	}
	if st := s.Standing(); st.Bytes > 64<<10 {
		t.Errorf("it takes %d bytes", st.Bytes)
	}
	_, spans := s.Get("north", fmt.Sprintf("%032x", 1))
	if n := len(spans[0].GetAttributes()); n != maxAttributes-1 { // the site is kept apart
		t.Errorf("%d attributes", n)
	}
	if e := spans[0].GetError(); len(e) > maxError || !strings.HasSuffix(e, "é…") {
		t.Errorf("the error has %d bytes and ends in %q", len(e), e[len(e)-6:])
	}
}

func TestATraceIsBounded(t *testing.T) {
	s := NewStore(Limits{Spans: 3}, (&clock{at: noon}).now)
	for n := range uint64(5) {
		s.Add(from("p", call(1, n+1, "north")))
		s.Add(from("p", call(1, n+1, "north"))) // sent again
	}
	summary, spans := s.Get("north", fmt.Sprintf("%032x", 1))
	if len(spans) != 3 || summary.GetLostSpans() != 4 { // the fourth and the fifth, twice each
		t.Errorf("%d spans, %d lost", len(spans), summary.GetLostSpans())
	}
}

// shadow is the store as simply as it can be said: everything in one list, looked
// through from the start each time.
type shadow struct {
	limits Limits
	list   []*shadowTrace
	noted  int
}

type shadowTrace struct {
	*record

	arrived time.Time
	noted   int // order in which it became one of note; 0: it has not
}

func (m *shadow) take(t *rapid.T, p *tracepb.Span, at time.Time) {
	a, err := read(p, "p", at)
	if err != nil {
		t.Fatal(err)
	}
	data, err := proto.Marshal(a.span)
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(m.list, func(t *shadowTrace) bool { return t.id == a.trace })
	if i < 0 {
		i = len(m.list)
		m.list = append(m.list, &shadowTrace{record: &record{id: a.trace, size: traceOverhead}, arrived: at})
	}
	one := m.list[i]
	if len(one.spans) == m.limits.Spans {
		return
	}
	one.add(a, data)
	if one.noted == 0 && one.errors > 0 {
		m.noted++
		one.noted = m.noted
	}
}

func (m *shadow) bytes(ofNoteOnly bool) (sum int64) {
	for _, t := range m.list {
		if !ofNoteOnly || t.noted > 0 {
			sum += t.size
		}
	}
	return sum
}

func (m *shadow) trim(now time.Time) {
	m.list = slices.DeleteFunc(m.list, func(t *shadowTrace) bool { return now.Sub(t.arrived) > m.limits.Age })
	for m.bytes(false) > m.limits.Bytes {
		victim := slices.IndexFunc(m.list, func(t *shadowTrace) bool { return t.noted == 0 })
		if victim < 0 || m.bytes(true) > m.limits.Bytes/2 {
			for i, t := range m.list {
				if t.noted > 0 && (victim < 0 || m.list[victim].noted == 0 || t.noted < m.list[victim].noted) {
					victim = i
				}
			}
		}
		m.list = slices.Delete(m.list, victim, victim+1)
	}
}

// The store never takes more than its bounds, counts right, and lets go of what a
// plain model of it lets go of: ordinary traces first, those of note only beyond
// their half.
func TestTheStoreIsBounded(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		c := &clock{at: noon}
		limits := Limits{Bytes: rapid.Int64Range(3000, 30000).Draw(rt, "bytes"), Age: time.Hour, Slow: time.Second, Spans: 5}
		s, m := NewStore(limits, c.now), &shadow{limits: limits}
		for span := range uint64(rapid.IntRange(1, 60).Draw(rt, "steps")) {
			c.at = c.at.Add(time.Duration(rapid.IntRange(0, 20).Draw(rt, "minutes")) * time.Minute)
			p := call(rapid.Uint64Range(1, 12).Draw(rt, "trace"), span+1, "north")
			p.Name = strings.Repeat("n", rapid.IntRange(1, 200).Draw(rt, "name"))
			p.Attributes = append(p.Attributes, about(fmt.Sprintf("jobs/%d", rapid.IntRange(1, 4).Draw(rt, "job"))))
			if rapid.Bool().Draw(rt, "of note") {
				failed(p, "it failed")
			}
			s.Add(from("p", p))
			m.take(rt, p, c.at)
			m.trim(c.at)
			check(rt, s, m)
		}
	})
}

func check(rt *rapid.T, s *Store, m *shadow) {
	if s.bytes > s.limits.Bytes {
		rt.Fatalf("%d bytes of %d", s.bytes, s.limits.Bytes)
	}
	var bytes, noted int64
	var spans uint64
	indexed := 0
	for _, r := range s.traces {
		bytes += r.size
		spans += uint64(len(r.spans))
		if r.ofNote {
			noted += r.size
		}
		for _, name := range r.about {
			if indexed++; !slices.Contains(s.byAbout[name], r) {
				rt.Fatalf("%s is not found by %s", r.id, name)
			}
		}
	}
	for _, list := range s.byAbout {
		indexed -= len(list)
	}
	if bytes != s.bytes || noted != s.noted || spans != s.spans || indexed != 0 ||
		s.all.Len() != len(s.traces) || s.ordinary.Len()+s.ofNote.Len() != len(s.traces) {
		rt.Fatalf("counted %d bytes, %d of note, %d spans, %d index entries too few; the store says %d, %d, %d", bytes, noted, spans, indexed, s.bytes, s.noted, s.spans)
	}
	want := map[string]bool{}
	for _, t := range m.list {
		want[t.id] = true
	}
	for key := range s.traces {
		delete(want, key)
	}
	if len(want) > 0 || len(m.list) != len(s.traces) {
		rt.Fatalf("the model keeps %v too; it has %d traces and the store %d", slices.Sorted(maps.Keys(want)), len(m.list), len(s.traces))
	}
}

// What the store counts is what it takes from the machine, within a fifth.
func TestTheStoreTakesWhatItSays(t *testing.T) {
	var before, after runtime.MemStats
	s := NewStore(Limits{}, (&clock{at: noon}).now)
	for range 2 { // pools that other tests filled are emptied by the second
		runtime.GC()
	}
	runtime.ReadMemStats(&before)
	for n := range uint64(5000) {
		var spans []*tracepb.Span
		for k := range uint64(8) {
			p := call(n+1, n*8+k+1, "north")
			p.Attributes = append(p.Attributes, word(telemetry.AttributePerson, fmt.Sprintf("person-%d", n%20)), about(fmt.Sprintf("jobs/%d", n)))
			spans = append(spans, p)
		}
		s.Add(from("ramprow-job", spans...))
	}
	runtime.GC()
	runtime.ReadMemStats(&after)
	taken := float64(after.HeapAlloc) - float64(before.HeapAlloc)
	if said := float64(s.Standing().Bytes); taken/said > 1.2 || taken/said < 0.5 {
		t.Errorf("the store says %.0f bytes and takes %.0f", said, taken)
	}
	runtime.KeepAlive(s)
}

// A store with a folder goes on where the process before it ended, and its files
// stay within the bounds.
func TestFilesOutliveTheProcess(t *testing.T) {
	dir, c := t.TempDir(), &clock{at: noon}
	limits := Limits{Bytes: 200 << 10}
	open := func() *Store {
		t.Helper()
		s, err := OpenStore(dir, limits, c.now, slog.New(slog.DiscardHandler))
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	first := open()
	for n := range uint64(400) {
		p := call(n+1, n+1, "north")
		p.Attributes = append(p.Attributes, about("jobs/17"), word(telemetry.AttributePerson, strings.Repeat("x", 150)))
		first.Add(from("ramprow-job", p))
		c.at = c.at.Add(time.Second)
	}
	newest, _ := first.Find(Query{Site: "north", About: "jobs/17", Most: 5})
	if err := first.Close(); err != nil {
		t.Fatal(err)
	}
	again := open()
	found, _ := again.Find(Query{Site: "north", About: "jobs/17", Most: 5})
	if diff := cmp.Diff(fmt.Sprint(newest), fmt.Sprint(found)); diff != "" || len(found) != 5 {
		t.Errorf("after a restart: %s", diff)
	}
	if st := again.Standing(); st.Bytes > limits.Bytes || st.Received != 0 {
		t.Errorf("read back: %+v", st)
	}
	if size := sizeOf(t, dir); size > limits.Bytes+limits.Bytes/segmentParts {
		t.Errorf("the files take %d bytes", size)
	}
	// A crash cuts the last frame off: what is before it is read.
	again.Add(from("p", call(1000, 1000, "north")))
	if err := again.Close(); err != nil {
		t.Fatal(err)
	}
	names, _ := filepath.Glob(filepath.Join(dir, "*.seg"))
	slices.Sort(names)
	last := names[len(names)-1]
	info, err := os.Stat(last)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(last, info.Size()-3); err != nil {
		t.Fatal(err)
	}
	third := open()
	found, _ = third.Find(Query{Site: "north", Most: 1})
	if len(found) != 1 || found[0].GetTraceId() != newest[0].GetTraceId() {
		t.Errorf("after a crash the newest is %v", found)
	}
	// What is too old is gone from memory and disk.
	c.at = c.at.Add(2 * DefaultAge)
	third.Add(from("p", call(2000, 2000, "north")))
	if st := third.Standing(); st.Traces != 0 && st.Traces != 1 {
		t.Errorf("old traces stay: %+v", st)
	}
	if size := sizeOf(t, dir); size > 1000 {
		t.Errorf("old files stay: %d bytes", size)
	}
	if err := third.Close(); err != nil {
		t.Fatal(err)
	}
}

func sizeOf(t *testing.T, dir string) (sum int64) {
	t.Helper()
	files, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		info, err := f.Info()
		if err != nil {
			t.Fatal(err)
		}
		sum += info.Size()
	}
	return sum
}

// A folder that takes nothing costs the files, not the store.
func TestAFullDisk(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "gone")
	s, err := OpenStore(dir, Limits{}, (&clock{at: noon}).now, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.RemoveAll(dir); err != nil {
		t.Fatal(err)
	}
	s.Add(from("p", call(1, 1, "north")))
	if found, _ := s.Find(Query{Site: "north", Most: 1}); len(found) != 1 {
		t.Error("the trace is lost")
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
}
