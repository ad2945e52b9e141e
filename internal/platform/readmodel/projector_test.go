package readmodel

import (
	"context"
	"fmt"
	"maps"
	"math/rand/v2"
	"sync"
	"testing"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog/memory"
)

func checkContents(t *testing.T, b *bench, a *author) {
	t.Helper()
	b.settled(a.subject.Site, a.sequence)
	checkRows(t, b, a)
}

func checkRows(t *testing.T, b *bench, a *author) {
	t.Helper()
	want, got := expected(t, a.texts), b.contents(a.subject.Site)
	if !maps.Equal(want, got) {
		t.Errorf("Redis holds %d keys that differ from the %d expected:\n got %q\nwant %q", len(got), len(want), got, want)
	}
}

func TestWritesRowsAndIndexes(t *testing.T) {
	overServers(t, func(t *testing.T, url string) {
		log := newLog(t)
		a := newAuthor(t, log, "north")
		b := start(t, log, url, 1)
		a.put("a=one", "b=two")
		a.put("c=three", "a=uno") // moves in the index
		a.put("b")                // goes
		a.put("d", "e=five", "e") // never seen from outside
		checkContents(t, b, a)
	})
}

// A page script reads everything at once, so what it sees is what one atomic
// step left. Every commit gives the same text to all three notes.
func TestStepIsAtomic(t *testing.T) {
	overServers(t, func(t *testing.T, url string) {
		log := newLog(t)
		a := newAuthor(t, log, "north")
		b := start(t, log, url, 1)
		a.put("a=0", "b=0", "c=0")
		b.settled("north", a.sequence)
		done := make(chan struct{})
		go func() {
			defer close(done)
			for i := 1; i <= 300; i++ {
				text := fmt.Sprint(i)
				a.put("a="+text, "b="+text, "c="+text)
			}
		}()
		for reading := true; reading; {
			select {
			case <-done:
				reading = false
			default:
			}
			page, err := b.strict().List(context.Background(), ListQuery{Site: "north", Model: "note", Index: "id"}, newRow)
			must(t, err)
			// The memory log numbers the records of a stream from 1.
			text := fmt.Sprint(page.Revision - 1)
			if got := texts(page); fmt.Sprint(got) != fmt.Sprintf("[a=%[1]s b=%[1]s c=%[1]s]", text) {
				t.Fatalf("revision %d shows %v", page.Revision, got)
			}
		}
		checkContents(t, b, a)
	})
}

// A projector that starts again folds the whole log but writes nothing that
// Redis holds already: a row changed by hand stays as it is.
func TestRepeatedDeliveryWritesNothing(t *testing.T) {
	overServers(t, func(t *testing.T, url string) {
		log := newLog(t)
		a := newAuthor(t, log, "north")
		b := start(t, log, url, 1)
		a.put("a=one")
		a.put("b=two")
		b.settled("north", a.sequence)
		b.stop()
		mark := newKeyspace(service, "north", 1).row(noteKey("a"))
		must(t, b.store.client.Set(context.Background(), mark, "by hand", 0).Err())

		again := start(t, log, url, 1)
		a.put("b=zwei")
		again.settled("north", a.sequence)
		got, err := again.store.client.Get(context.Background(), mark).Result()
		must(t, err)
		if got != "by hand" {
			t.Errorf("the row was written again: %q", got)
		}
	})
}

func TestTwoProjectorsAtOnceAreHarmless(t *testing.T) {
	overServers(t, func(t *testing.T, url string) {
		log := newLog(t)
		a := newAuthor(t, log, "north")
		first, second := start(t, log, url, 1), start(t, log, url, 1)
		for i := range 300 {
			revision := a.put(fmt.Sprintf("n%d=%d", i%17, i))
			for _, b := range []*bench{first, second} {
				got, _, err := b.get(b.views, "north", fmt.Sprintf("n%d", i%17), revision)
				must(t, err)
				if want := fmt.Sprintf("n%d=%d", i%17, i); got != want {
					t.Fatalf("read %q at revision %d, want %q", got, revision, want)
				}
			}
		}
		checkContents(t, first, a)
		checkContents(t, second, a)
	})
}

func TestFlushInTheMiddleLosesNothing(t *testing.T) {
	overServers(t, func(t *testing.T, url string) {
		log := newLog(t)
		a := newAuthor(t, log, "north")
		b := start(t, log, url, 1)
		for i := range 1200 {
			id := fmt.Sprintf("n%d", i%700)
			revision := a.put(fmt.Sprintf("%s=%d", id, i))
			if i%97 == 0 {
				must(t, b.store.client.FlushAll(context.Background()).Err())
			}
			got, at, err := b.get(b.views, "north", id, revision)
			must(t, err)
			if want := fmt.Sprintf("%s=%d", id, i); got != want || at < revision {
				t.Fatalf("read %q of revision %d, want %q of %d", got, at, want, revision)
			}
		}
		must(t, b.store.client.FlushAll(context.Background()).Err())
		checkContents(t, b, a)
	})
}

func TestEmptiedRedisIsRefilledByReadsAlone(t *testing.T) {
	log := newLog(t)
	a := newAuthor(t, log, "north")
	b := start(t, log, startEmbedded(t), 1)
	a.put("a=one")
	b.settled("north", a.sequence)
	must(t, b.store.client.FlushAll(context.Background()).Err())
	until(t, "a read finds the row in Redis again", func() bool {
		got, _, err := b.get(b.strict(), "north", "a", 0)
		return err == nil && got == "a=one"
	})
}

func TestTooFarBehindWritesAllRowsAnew(t *testing.T) {
	server := startServer(t)
	log := newLog(t)
	a := newAuthor(t, log, "north")
	b := start(t, log, server.url(), 1)
	a.put("gone=soon")
	b.settled("north", a.sequence)
	server.kill()
	a.put("gone")
	for i := range 2 * maxTouched / 100 {
		var lines []string
		for j := range 100 {
			lines = append(lines, fmt.Sprintf("n%d=%d", 100*i+j, j))
		}
		a.put(lines...)
	}
	s := b.projector.sites["north"]
	must(t, s.await(context.Background(), func() bool { return s.folded(a.sequence) }))
	s.mu.RLock()
	kept := len(s.touched)
	s.mu.RUnlock()
	if kept > maxTouched {
		t.Errorf("%d touched rows are kept, more than %d", kept, maxTouched)
	}
	server.start()
	checkContents(t, b, a)
}

// A server with an append-only file loses up to a second when it is killed, and
// comes back with an older position; without one it comes back empty.
func TestRedisKilledAndRestarted(t *testing.T) {
	for name, options := range map[string][]string{
		"in memory":        nil,
		"append-only file": {"--appendonly", "yes", "--appendfsync", "no"},
	} {
		t.Run(name, func(t *testing.T) {
			server := startServer(t, options...)
			log := newLog(t)
			a := newAuthor(t, log, "north")
			b := start(t, log, server.url(), 1)
			for i := range 60 {
				id := fmt.Sprintf("n%d", i%7)
				revision := a.put(fmt.Sprintf("%s=%d", id, i))
				switch i % 20 {
				case 5:
					server.kill()
				case 15:
					server.start()
				}
				got, _, err := b.get(b.views, "north", id, revision)
				must(t, err)
				if want := fmt.Sprintf("%s=%d", id, i); got != want {
					t.Fatalf("read %q, want %q", got, want)
				}
			}
			checkContents(t, b, a)
		})
	}
}

// Redis restored from an older copy is brought up to date, or filled anew.
func TestOlderCopyOfRedis(t *testing.T) {
	log := newLog(t)
	a := newAuthor(t, log, "north")
	b := start(t, log, startEmbedded(t), 1)
	ks := newKeyspace(service, "north", 1)
	a.put("a=one", "b=one")
	b.settled("north", a.sequence)
	ctx := context.Background()
	old, err := b.store.client.MGet(ctx, ks.position(), ks.row(noteKey("a"))).Result()
	must(t, err)
	oldIndex := indexMember("one", "a")
	a.put("a=two")
	b.settled("north", a.sequence)

	// All at once, as a restart does it: the projector looks at Redis whenever it likes.
	restored := b.store.client.TxPipeline()
	restored.MSet(ctx, ks.position(), old[0], ks.row(noteKey("a")), old[1])
	restored.ZRem(ctx, ks.index("note", "text"), indexMember("two", "a"))
	restored.ZAdd(ctx, ks.index("note", "text"), z(oldIndex))
	_, err = restored.Exec(ctx)
	must(t, err)
	got, _, err := b.get(b.views, "north", "a", a.sequence)
	must(t, err)
	if got != "a=two" {
		t.Errorf("read %q", got)
	}
	checkContents(t, b, a)
}

func TestVersionsStandSideBySide(t *testing.T) {
	log := newLog(t)
	a := newAuthor(t, log, "north")
	url := startEmbedded(t)
	old := start(t, log, url, 1)
	a.put("a=one")
	checkContents(t, old, a)
	next := start(t, log, url, 2)
	checkContents(t, next, a)
	a.put("b=two")
	checkContents(t, next, a)
	checkContents(t, old, a)
}

// A log made anew has the same subject and sequences that mean something else.
func TestAnotherLogIsNoticed(t *testing.T) {
	url := startEmbedded(t)
	log := newLog(t)
	a := newAuthor(t, log, "north")
	b := start(t, log, url, 1)
	for i := range 5 {
		a.put(fmt.Sprintf("old%d=x", i))
	}
	checkContents(t, b, a)
	b.stop()

	another := newLog(t)
	a = newAuthor(t, another, "north")
	a.put("new=y")
	b = start(t, another, url, 1)
	if _, _, err := b.get(b.views, "north", "old0", 0); fault.KindOf(err) != fault.NotFound {
		t.Errorf("a row of the log before: %v", err)
	}
	checkContents(t, b, a)
}

// The log lost its tail and went on differently: Redis has rows that never were.
func TestLogThatLostItsTailIsNoticed(t *testing.T) {
	url := startEmbedded(t)
	log := memory.New()
	a := newAuthor(t, log, "north")
	b := start(t, log, url, 1)
	first := a.put("a=one")
	short := *newAuthor(t, log, "north")
	short.number, short.sequence, short.hash = a.number, a.sequence, a.hash
	lost := a.put("lost=x")
	b.settled("north", lost)
	b.stop()

	log.Remove(a.subject, lost)
	short.texts["a"] = "one"
	short.sequence = first
	b = start(t, log, url, 1)
	checkContents(t, b, &short)
}

func TestDamagedLogStopsTheRowsThere(t *testing.T) {
	log := memory.New()
	a := newAuthor(t, log, "north")
	a.put("a=one")
	bad := a.put("a=two")
	a.put("a=three")
	log.Remove(a.subject, bad)
	b := start(t, log, startEmbedded(t), 1)
	s, err := b.projector.await(context.Background(), "north")
	must(t, err)
	until(t, "the damage is named", func() bool { return s.reason() != nil })
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	err = b.views.Watch(ctx, WatchQuery{Site: "north"}, func(Change) error { return nil })
	if fault.KindOf(err) != fault.Unavailable {
		t.Errorf("want Unavailable, got %v", err)
	}
}

// Many sites, each with its own author, over one Redis that is emptied at random.
func TestManySites(t *testing.T) {
	overServers(t, func(t *testing.T, url string) {
		log := newLog(t)
		b := start(t, log, url, 1)
		var authors []*author
		var writing sync.WaitGroup
		for i := range 6 {
			a := newAuthor(t, log, fmt.Sprintf("site-%d", i))
			authors = append(authors, a)
			random := rand.New(rand.NewPCG(1, uint64(i)))
			writing.Go(func() {
				for n := range 100 {
					id := random.IntN(20)
					if random.IntN(4) == 0 {
						a.put(fmt.Sprintf("n%d", id))
						continue
					}
					a.put(fmt.Sprintf("n%d=%d", id, n))
				}
			})
		}
		for range 5 {
			must(t, b.store.client.FlushAll(context.Background()).Err())
		}
		writing.Wait()
		for _, a := range authors {
			checkContents(t, b, a)
		}
	})
}
