package readmodel

import (
	"context"
	"errors"
	"fmt"
	"testing"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/memory"
)

// claimed puts a claim where another process would.
func claimed(t *testing.T, b *bench, ks keyspace) {
	t.Helper()
	stamp, err := position{Claim: "another process"}.encode()
	must(t, err)
	must(t, b.store.client.Set(context.Background(), ks.position(), stamp, claimLife).Err())
}

func TestProjectorWaitsForAClaimAndTakesOverWhenItExpires(t *testing.T) {
	overServers(t, func(t *testing.T, url string) {
		log := newLog(t)
		a := newAuthor(t, log, "north")
		b := start(t, log, url, 1)
		a.put("a=one")
		b.settled("north", a.sequence)
		s := b.projector.sites["north"]
		claimed(t, b, s.keys)
		revision := a.put("a=two")
		until(t, "the projector knows of the claim", func() bool { return errors.Is(s.reason(), errClaimed) })

		got, _, err := b.get(b.views, "north", "a", revision)
		must(t, err)
		if got != "a=two" {
			t.Errorf("the fallback reads %q", got)
		}
		if err := b.projector.Rebuild(context.Background(), "north", nil); fault.KindOf(err) != fault.Conflict {
			t.Errorf("a second rebuild: %v", err)
		}
		life, err := b.store.client.PTTL(context.Background(), s.keys.position()).Result()
		must(t, err)
		if life <= 0 || life > claimLife {
			t.Errorf("the claim of a process that died would stand for %v", life)
		}
		must(t, b.store.client.Del(context.Background(), s.keys.position()).Err()) // as expiry does
		checkContents(t, b, a)
	})
}

// Whoever has lost its claim must not write or remove another row.
func TestLostClaimWritesNothing(t *testing.T) {
	log := newLog(t)
	a := newAuthor(t, log, "north")
	b := start(t, log, startEmbedded(t), 1)
	a.put("a=one")
	b.settled("north", a.sequence)
	ks := b.projector.sites["north"].keys
	h := holder{store: b.store, keys: ks, claim: position{Claim: "mine"}}
	ctx := context.Background()
	if err := h.put(ctx, []rendered{{key: noteKey("a"), value: []byte("x")}}); !errors.Is(err, errLost) {
		t.Errorf("put: %v", err)
	}
	if err := h.drop(ctx); !errors.Is(err, errLost) {
		t.Errorf("drop: %v", err)
	}
	checkContents(t, b, a)
}

func TestJudge(t *testing.T) {
	at := func(sequence uint64, commit string) position {
		return position{Log: "log", Sequence: sequence, Commit: commit}
	}
	b := batch{since: 10, after: 20, target: at(30, "thirty")}
	for name, c := range map[string]struct {
		found position
		want  error
	}{
		"nothing there":            {position{}, errHoles},
		"another log":              {position{Log: "other", Sequence: 25}, errHoles},
		"rebuild under way":        {position{Claim: "token"}, errClaimed},
		"before what is known":     {at(9, "nine"), errHoles},
		"before what is in batch":  {at(15, "fifteen"), errOlder},
		"where it was left":        {at(20, "twenty"), nil},
		"another was a bit faster": {at(25, "twenty-five"), nil},
		"the same already":         {at(30, "thirty"), errUpToDate},
		"another commit there":     {at(30, "other"), errHoles},
		"newer":                    {at(31, "thirty-one"), errUpToDate},
	} {
		t.Run(name, func(t *testing.T) {
			next, err := b.judge(c.found)
			if !errors.Is(err, c.want) {
				t.Fatalf("got %v, want %v", err, c.want)
			}
			if err == nil && next != b.target {
				t.Errorf("the position would become %v", next)
			}
		})
	}
}

// The log is away when the projector starts, and breaks off later: rows catch up.
func TestLogAway(t *testing.T) {
	log := memory.New()
	a := newAuthor(t, log, "north")
	a.put("a=one")
	failures := map[memory.Operation]int{memory.Sites: 2, memory.Last: 2, memory.Read: 2, memory.Follow: 2}
	log.SetHook(func(_ context.Context, op memory.Operation, _ sitelog.Subject) memory.Effect {
		if failures[op] > 0 { // The log asks its hook one call at a time here: one site, one projector.
			failures[op]--
			return memory.Away()
		}
		return memory.Effect{}
	})
	b := start(t, log, startEmbedded(t), 1)
	until(t, "the site is found", func() bool { s, _ := b.projector.known("north"); return s != nil })
	checkContents(t, b, a)
}

// Thousands of rows changed while no projector ran: those are written, in chunks,
// and the others stay as they are.
func TestManyTouchedRowsAreWrittenWithoutDroppingTheRest(t *testing.T) {
	overServers(t, func(t *testing.T, url string) {
		log := newLog(t)
		a := newAuthor(t, log, "north")
		b := start(t, log, url, 1)
		a.put("a=one", "b=two")
		b.settled("north", a.sequence)
		b.stop()
		ctx := context.Background()
		mark := b.projector.sites["north"].keys.row(noteKey("a"))
		before, err := b.store.client.Get(ctx, mark).Result()
		must(t, err)
		must(t, b.store.client.Set(ctx, mark, "by hand", 0).Err())
		for i := range 3 * stepRows {
			a.put(fmt.Sprintf("n%d=%d", i, i))
		}
		again := start(t, log, url, 1)
		again.settled("north", a.sequence)
		if got, err := again.store.client.Get(ctx, mark).Result(); err != nil || got != "by hand" {
			t.Errorf("the untouched row was written again: %q %v", got, err)
		}
		must(t, again.store.client.Set(ctx, mark, before, 0).Err())
		checkContents(t, again, a)
	})
}

// A fill that fails gives its claim back at once.
func TestFailedFillReleasesItsClaim(t *testing.T) {
	log := newLog(t)
	a := newAuthor(t, log, "north")
	b := start(t, log, startEmbedded(t), 1)
	a.put("a=one")
	b.settled("north", a.sequence)
	b.stop()
	ctx, cancel := context.WithCancel(context.Background())
	err := b.projector.Rebuild(ctx, "north", func(int, int) { cancel() })
	if fault.KindOf(err) != fault.Unavailable {
		t.Errorf("got %v", err)
	}
	found, err := b.store.position(context.Background(), b.projector.sites["north"].keys)
	must(t, err)
	if found != (position{}) {
		t.Errorf("the position is %v", found)
	}
	must(t, b.projector.Rebuild(context.Background(), "north", nil))
	checkRows(t, b, a)
}
