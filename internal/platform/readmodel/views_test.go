package readmodel

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/redis/go-redis/v9"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/wrapperspb"
	"pgregory.net/rapid"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
)

// A service's writer and a projector can both stand in for Redis.
var (
	_ State[*notes] = (*sitelog.Runner[*notes])(nil)
	_ State[*notes] = (*Projector[*notes])(nil)
)

func newRow() proto.Message { return &wrapperspb.StringValue{} }

func z(m string) redis.Z { return redis.Z{Member: m} }

func texts(page Page) []string {
	var all []string
	for _, row := range page.Rows {
		all = append(all, row.(*wrapperspb.StringValue).GetValue())
	}
	return all
}

func TestReadYourWrites(t *testing.T) {
	overServers(t, func(t *testing.T, url string) {
		log := newLog(t)
		a := newAuthor(t, log, "north")
		b := start(t, log, url, 1)
		for i := range 200 { // The first read even precedes the site's discovery.
			revision := a.put(fmt.Sprintf("a=%d", i))
			got, at, err := b.get(b.views, "north", "a", revision)
			must(t, err)
			if want := fmt.Sprintf("a=%d", i); got != want || at < revision {
				t.Fatalf("read %q of revision %d, want %q of %d", got, at, want, revision)
			}
		}
	})
}

// Rows are written with a pace. A read that asks for no revision gets what is
// folded all the same.
func TestNoReadIsOlderThanTheFold(t *testing.T) {
	log := newLog(t)
	a := newAuthor(t, log, "north")
	b := start(t, log, startEmbedded(t), 1)
	a.put("a=first")
	b.settled("north", a.sequence)
	s := b.projector.sites["north"]
	for i := range 100 {
		revision := a.put(fmt.Sprintf("a=%d", i))
		must(t, s.await(t.Context(), func() bool { return s.folded(revision) }))
		got, at, err := b.get(b.strict(), "north", "a", 0)
		must(t, err)
		if want := fmt.Sprintf("a=%d", i); got != want || at != revision {
			t.Fatalf("read %q of revision %d, want %q of %d", got, at, want, revision)
		}
	}
}

func TestRefusals(t *testing.T) {
	log := newLog(t)
	a := newAuthor(t, log, "north")
	b := start(t, log, startEmbedded(t), 1)
	a.put("a=one")
	b.settled("north", a.sequence)
	list := func(q ListQuery) error {
		_, err := b.views.List(context.Background(), q, newRow)
		return err
	}
	expired, cancel := context.WithTimeout(context.Background(), time.Millisecond)
	defer cancel()
	_, tooNew := b.views.Get(expired, "north", noteKey("a"), a.sequence+1, newRow())
	_, _, unknownRow := b.get(b.views, "north", "b", 0)
	_, _, unknownSite := b.get(b.views, "south", "a", 0)
	for name, c := range map[string]struct {
		err    error
		kind   fault.Kind
		reason string
		field  string
	}{
		"unknown row":        {unknownRow, fault.NotFound, ReasonNotFound, ""},
		"unknown site":       {unknownSite, fault.NotFound, ReasonNotFound, ""},
		"not yet written":    {tooNew, fault.Unavailable, ReasonBehind, ""},
		"negative page size": {list(ListQuery{Site: "north", Model: "note", Index: "id", PageSize: -1}), fault.Invalid, "PAGE_SIZE_INVALID", "page_size"},
		"garbage token":      {list(ListQuery{Site: "north", Model: "note", Index: "id", PageToken: "%%"}), fault.Invalid, "PAGE_TOKEN_INVALID", "page_token"},
	} {
		t.Run(name, func(t *testing.T) {
			if fault.KindOf(c.err) != c.kind || fault.ReasonOf(c.err) != c.reason {
				t.Fatalf("got %v", c.err)
			}
			if f, _ := errors.AsType[*fault.Error](c.err); c.field != "" && (len(f.Fields) != 1 || f.Fields[0].Path != c.field) {
				t.Errorf("fields %v, want %s", f.Fields, c.field)
			}
		})
	}
}

func TestRedisAway(t *testing.T) {
	server := startServer(t)
	log := newLog(t)
	a := newAuthor(t, log, "north")
	a.put("a=one")
	server.kill()
	b := start(t, log, server.url(), 1)
	revision := a.put("a=two", "b=one")

	got, _, err := b.get(b.views, "north", "a", revision)
	must(t, err)
	if got != "a=two" {
		t.Errorf("the fallback reads %q", got)
	}
	page, err := b.views.List(context.Background(), ListQuery{Site: "north", Model: "note", Index: "text", MinRevision: revision}, newRow)
	must(t, err)
	if got := texts(page); !slices.Equal(got, []string{"b=one", "a=two"}) {
		t.Errorf("the fallback lists %q", got)
	}
	if _, _, err := b.get(b.strict(), "north", "a", revision); fault.KindOf(err) != fault.Unavailable || fault.ReasonOf(err) != ReasonAway {
		t.Errorf("without a fallback: %v", err)
	}
	if err := b.store.Ping(context.Background()); fault.ReasonOf(err) != ReasonAway {
		t.Errorf("ping: %v", err)
	}
}

// A reader loops while all rows are written anew again and again, and while the
// log grows: it never misses a row and never reads an older one than it asked for.
func TestRebuildWhileReadsGoOn(t *testing.T) {
	overServers(t, func(t *testing.T, url string) {
		log := newLog(t)
		a := newAuthor(t, log, "north")
		var lines []string
		for i := range 1500 {
			lines = append(lines, fmt.Sprintf("n%04d=0", i))
		}
		a.put(lines...)
		b := start(t, log, url, 1)
		other := start(t, log, url, 1) // as `ramprow rebuild` would: its own connection
		b.settled("north", a.sequence)
		ended := make(chan error, 1)
		go func() { ended <- rebuildTimes(other, 4) }()
		for i := 0; ; i++ {
			select {
			case err := <-ended:
				must(t, err)
				checkContents(t, b, a)
				return
			default:
			}
			id := fmt.Sprintf("n%04d", i%1500)
			revision := a.put(fmt.Sprintf("%s=%d", id, i))
			got, _, err := b.get(b.views, "north", id, revision)
			must(t, err)
			if want := fmt.Sprintf("%s=%d", id, i); got != want {
				t.Fatalf("read %q, want %q", got, want)
			}
			page, err := b.views.List(context.Background(), ListQuery{Site: "north", Model: "note", Index: "id", PageSize: 500, MinRevision: revision}, newRow)
			must(t, err)
			if len(page.Rows) != 500 || page.Revision < revision {
				t.Fatalf("a page of %d rows of revision %d, want 500 of %d", len(page.Rows), page.Revision, revision)
			}
		}
	})
}

func rebuildTimes(b *bench, times int) error {
	for done := 0; done < times; {
		last, total := 0, 0
		err := b.projector.Rebuild(context.Background(), "north", func(d, n int) { last, total = d, n })
		switch {
		case fault.KindOf(err) == fault.Conflict: // a projector was filling Redis just then
			continue
		case err != nil:
			return err
		case last != 1500 || total != 1500:
			return fmt.Errorf("progress ended at %d of %d", last, total)
		}
		done++
	}
	return nil
}

func TestRebuildOfNothing(t *testing.T) {
	b := start(t, newLog(t), startEmbedded(t), 1)
	if err := b.projector.Rebuild(context.Background(), "nowhere", nil); fault.KindOf(err) != fault.NotFound {
		t.Errorf("got %v", err)
	}
}

// Pages joined are the index sorted, from Redis and from the state alike.
func TestPagesJoinToTheSortedIndex(t *testing.T) {
	overServers(t, func(t *testing.T, url string) {
		log := newLog(t)
		b := start(t, log, url, 1)
		sites := 0
		rapid.Check(t, func(r *rapid.T) {
			sites++
			a := newAuthor(t, log, fmt.Sprintf("site-%d", sites))
			order := rapid.StringOfN(rapid.SampledFrom([]rune("ab\x00\x01ÿé")), 0, 4, -1)
			for id, text := range rapid.MapOfN(rapid.StringMatching(`[a-c]{1,4}`), order, 1, 40).Draw(r, "notes") {
				a.put(id + "=" + text)
			}
			b.settled(a.subject.Site, a.sequence)
			q := ListQuery{
				Site: a.subject.Site, Model: "note", Index: "text",
				Prefix:     rapid.SampledFrom([]string{"", "a", "b\x00", "é"}).Draw(r, "prefix"),
				PageSize:   rapid.IntRange(1, 12).Draw(r, "size"),
				Descending: rapid.Bool().Draw(r, "descending"),
			}
			want := sorted(a.texts, q)
			if got := allPages(t, b.strict(), q); !slices.Equal(got, want) {
				r.Fatalf("Redis lists %q, want %q", got, want)
			}
			l := &listing[*notes]{views: b.views, query: q}
			if got := statePages(t, l, a.texts); !slices.Equal(got, want) {
				r.Fatalf("the state lists %q, want %q", got, want)
			}
		})
	})
}

// sorted is the dumb second way: sort pairs of text and id, keep what fits.
func sorted(all map[string]string, q ListQuery) []string {
	type pair struct{ text, id string }
	var pairs []pair
	for id, text := range all {
		if strings.HasPrefix(text, q.Prefix) {
			pairs = append(pairs, pair{text, id})
		}
	}
	slices.SortFunc(pairs, func(a, b pair) int {
		if c := strings.Compare(a.text, b.text); c != 0 {
			return c
		}
		return strings.Compare(a.id, b.id)
	})
	if q.Descending {
		slices.Reverse(pairs)
	}
	var rows []string
	for _, p := range pairs {
		rows = append(rows, p.id+"="+p.text)
	}
	return rows
}

func allPages(t *testing.T, v *Views[*notes], q ListQuery) []string {
	t.Helper()
	var rows []string
	for {
		page, err := v.List(context.Background(), q, newRow)
		must(t, err)
		rows = append(rows, texts(page)...)
		if len(page.Rows) > q.PageSize {
			t.Fatalf("a page of %d rows where %d were asked for", len(page.Rows), q.PageSize)
		}
		if page.NextToken == "" {
			return rows
		}
		q.PageToken = page.NextToken
	}
}

// statePages pages through the state, as readers do while Redis is away.
func statePages(t *testing.T, l *listing[*notes], all map[string]string) []string {
	t.Helper()
	var rows []string
	for {
		must(t, l.prepare())
		must(t, l.fromState(&notes{texts: all}))
		full := len(l.members) > l.size
		for _, packed := range l.packed[:min(len(l.packed), l.size)] {
			row := &wrapperspb.StringValue{}
			must(t, decodeRow(packed, row))
			rows = append(rows, row.GetValue())
		}
		if !full {
			return rows
		}
		l.query.PageToken = encodeToken(l.query, l.members[l.size-1])
	}
}

// A watcher that is slow gets the latest row of each key, and all keys.
func TestWatchCoalesces(t *testing.T) {
	s := newSite(notesProjection(1), nil, "north")
	w := s.watch(WatchQuery{Filter: func(k Key) bool { return k.ID != "ignored" }})
	for i := range 1000 {
		w.offer(noteKey(fmt.Sprint(i % 10)))
		w.offer(noteKey("ignored"))
	}
	<-w.ready
	if keys := w.take(); len(keys) != 10 || keys[0] != noteKey("0") {
		t.Errorf("pending are %v, want 10 keys in the order in which they came", keys)
	}
	if len(w.ready) != 0 || len(w.take()) != 0 {
		t.Error("something is left")
	}
}

func TestWatchBeginsWithWhatIsThereAndMissesNothing(t *testing.T) {
	log := newLog(t)
	a := newAuthor(t, log, "north")
	b := start(t, log, startEmbedded(t), 1)
	a.put("a=1", "b=1")
	done := make(chan struct{})
	go func() {
		defer close(done)
		for i := range 300 {
			a.put(fmt.Sprintf("a=%d", i), fmt.Sprintf("c%d=x", i), fmt.Sprintf("c%d", i-1))
		}
		a.put("b", "end=now")
	}()
	seen := map[string]string{}
	enough := errors.New("enough")
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	err := b.views.Watch(ctx, WatchQuery{Site: "north", Model: "note", Present: true}, func(c Change) error {
		if c.Row == nil {
			delete(seen, c.Key.ID)
		} else {
			_, seen[c.Key.ID], _ = strings.Cut(c.Row.(*wrapperspb.StringValue).GetValue(), "=")
		}
		if seen["end"] == "now" && len(seen) == 3 {
			return enough
		}
		return nil
	})
	if !errors.Is(err, enough) {
		t.Fatalf("watching ended with %v, having seen %v", err, seen)
	}
	<-done
	if seen["a"] != "299" || seen["c299"] != "x" {
		t.Errorf("seen %v", seen)
	}
}

func TestWatchEndsWithItsContext(t *testing.T) {
	log := newLog(t)
	newAuthor(t, log, "north").put("a=1")
	b := start(t, log, startEmbedded(t), 1)
	ctx, cancel := context.WithCancel(context.Background())
	err := b.views.Watch(ctx, WatchQuery{Site: "north", Present: true}, func(Change) error {
		cancel()
		return nil
	})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
	if left := len(b.projector.sites["north"].watchers); left != 0 {
		t.Errorf("%d watchers are left", left)
	}
}
