// Package sitelogtest holds the one conformance suite that every sitelog.Log
// must pass. What a Runner relies on, and nothing more, is checked here.
package sitelogtest

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"sync"
	"sync/atomic"
	"testing"

	"ramprow/internal/platform/sitelog"
)

var (
	job   = sitelog.Subject{Service: "job", Site: "main-street"}
	other = sitelog.Subject{Service: "job", Site: "harbour"}
)

// Run checks a kind of log. Each case gets a fresh, empty one.
func Run(t *testing.T, fresh func(t *testing.T) sitelog.Log) {
	for name, check := range map[string]func(*testing.T, sitelog.Log){
		"an empty subject has no tail":           emptySubject,
		"a record comes back as it was appended": roundTrip,
		"the guard refuses whoever is behind":    guard,
		"one of many with the same guard wins":   race,
		"subjects are apart":                     subjectsApart,
		"read begins after a sequence":           readAfter,
		"read stops when its function fails":     readStops,
		"follow gives the past, then the new":    follow,
		"sites are given once, old and new":      sites,
		"an ended context is an error":           endedContext,
	} {
		t.Run(name, func(t *testing.T) { check(t, fresh(t)) })
	}
}

func message(text string) sitelog.Message {
	return sitelog.Message{Header: map[string]string{"ce-id": text, "traceparent": "00-" + text}, Data: []byte("data of " + text)}
}

func mustAppend(t *testing.T, log sitelog.Log, s sitelog.Subject, expected uint64, text string) uint64 {
	t.Helper()
	sequence, err := log.Append(t.Context(), s, expected, message(text))
	if err != nil {
		t.Fatalf("append %s after %d: %v", text, expected, err)
	}
	return sequence
}

// fillSubject appends n records, with records of another subject between them.
func fillSubject(t *testing.T, log sitelog.Log, n int) []uint64 {
	t.Helper()
	var sequences []uint64
	var last, lastOther uint64
	for i := range n {
		last = mustAppend(t, log, job, last, fmt.Sprint("job", i))
		lastOther = mustAppend(t, log, other, lastOther, fmt.Sprint("other", i))
		sequences = append(sequences, last)
	}
	return sequences
}

func sequencesAfter(t *testing.T, log sitelog.Log, s sitelog.Subject, after uint64) []uint64 {
	t.Helper()
	var got []uint64
	if err := log.Read(t.Context(), s, after, func(r sitelog.Record) error {
		got = append(got, r.Sequence)
		return nil
	}); err != nil {
		t.Fatalf("read after %d: %v", after, err)
	}
	return got
}

func emptySubject(t *testing.T, log sitelog.Log) {
	last, err := log.Last(t.Context(), job)
	if err != nil || last.Sequence != 0 {
		t.Fatalf("the tail is %d, %v", last.Sequence, err)
	}
	if got := sequencesAfter(t, log, job, 0); len(got) != 0 {
		t.Fatalf("read %v", got)
	}
}

func roundTrip(t *testing.T, log sitelog.Log) {
	sequence := mustAppend(t, log, job, 0, "one")
	last, err := log.Last(t.Context(), job)
	if err != nil {
		t.Fatal(err)
	}
	check := func(r sitelog.Record) error {
		want := message("one")
		if r.Sequence != sequence || r.Subject != job || string(r.Data) != string(want.Data) || !maps.Equal(r.Header, want.Header) {
			t.Errorf("got %+v", r)
		}
		return nil
	}
	_ = check(last)
	if err := log.Read(t.Context(), job, 0, check); err != nil {
		t.Fatal(err)
	}
}

func guard(t *testing.T, log sitelog.Log) {
	first := mustAppend(t, log, job, 0, "one")
	for _, expected := range []uint64{0, first + 1} {
		if _, err := log.Append(t.Context(), job, expected, message("late")); !errors.Is(err, sitelog.ErrConflict) {
			t.Errorf("append after %d gives %v, not a conflict", expected, err)
		}
	}
	second := mustAppend(t, log, job, first, "two")
	if _, err := log.Append(t.Context(), job, first, message("late")); !errors.Is(err, sitelog.ErrConflict) {
		t.Errorf("append after an old tail gives %v, not a conflict", err)
	}
	if got := sequencesAfter(t, log, job, 0); !slices.Equal(got, []uint64{first, second}) {
		t.Errorf("refused appends left %v", got)
	}
}

func race(t *testing.T, log sitelog.Log) {
	tail := mustAppend(t, log, job, 0, "one")
	const rounds, writers = 10, 8
	for range rounds {
		var won, tailNow atomic.Uint64
		var wg sync.WaitGroup
		for i := range writers {
			wg.Go(func() {
				sequence, err := log.Append(t.Context(), job, tail, message(fmt.Sprint("writer", i)))
				switch {
				case err == nil:
					won.Add(1)
					tailNow.Store(sequence)
				case !errors.Is(err, sitelog.ErrConflict):
					t.Errorf("the loser gets %v", err)
				}
			})
		}
		wg.Wait()
		if won.Load() != 1 {
			t.Fatalf("%d of %d writers won", won.Load(), writers)
		}
		tail = tailNow.Load()
		if last, err := log.Last(t.Context(), job); err != nil || last.Sequence != tail {
			t.Fatalf("the tail is %d (%v), the winner was told %d", last.Sequence, err, tail)
		}
	}
}

func subjectsApart(t *testing.T, log sitelog.Log) {
	sequences := fillSubject(t, log, 3)
	if !slices.IsSorted(sequences) {
		t.Errorf("sequences do not grow: %v", sequences)
	}
	if got := sequencesAfter(t, log, job, 0); !slices.Equal(got, sequences) {
		t.Errorf("read %v, appended %v", got, sequences)
	}
	elsewhere := sitelog.Subject{Service: "inventory", Site: job.Site}
	if got := sequencesAfter(t, log, elsewhere, 0); len(got) != 0 {
		t.Errorf("another service's log holds %v", got)
	}
	mustAppend(t, log, elsewhere, 0, "own")
}

func readAfter(t *testing.T, log sitelog.Log) {
	sequences := fillSubject(t, log, 80)
	for _, from := range []int{0, 1, 40, 79, 80} {
		after := uint64(0)
		if from > 0 {
			after = sequences[from-1]
		}
		if got := sequencesAfter(t, log, job, after); !slices.Equal(got, sequences[from:]) {
			t.Errorf("after %d: %d records, not %d: %v", after, len(got), len(sequences)-from, got)
		}
	}
}

func readStops(t *testing.T, log sitelog.Log) {
	fillSubject(t, log, 60)
	enough := errors.New("enough")
	for _, stopAt := range []int{1, 50} {
		n := 0
		err := log.Read(t.Context(), job, 0, func(sitelog.Record) error {
			if n++; n == stopAt {
				return enough
			}
			return nil
		})
		if !errors.Is(err, enough) || n != stopAt {
			t.Errorf("read %d records and gave %v", n, err)
		}
	}
}

func follow(t *testing.T, log sitelog.Log) {
	sequences := fillSubject(t, log, 5)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	got := make(chan uint64)
	ended := make(chan error, 1)
	go func() {
		ended <- log.Follow(ctx, job, sequences[1], func(r sitelog.Record) error {
			got <- r.Sequence
			return nil
		})
	}()
	expect := func(want uint64) {
		t.Helper()
		select {
		case sequence := <-got:
			if sequence != want {
				t.Fatalf("followed to %d, not %d", sequence, want)
			}
		case err := <-ended:
			t.Fatalf("follow ended: %v", err)
		}
	}
	for _, want := range sequences[2:] {
		expect(want)
	}
	tail := sequences[4]
	for i := range 3 {
		tail = mustAppend(t, log, job, tail, fmt.Sprint("new", i))
		expect(tail)
	}
	cancel()
	if err := <-ended; !errors.Is(err, context.Canceled) {
		t.Errorf("follow ended with %v", err)
	}
}

func sites(t *testing.T, log sitelog.Log) {
	fillSubject(t, log, 2)
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	got := make(chan string, 8)
	ended := make(chan error, 1)
	go func() {
		ended <- log.Sites(ctx, job.Service, func(site string) error { got <- site; return nil })
	}()
	seen := map[string]int{}
	take := func() {
		t.Helper()
		select {
		case site := <-got:
			seen[site]++
		case err := <-ended:
			t.Fatalf("sites ended: %v", err)
		}
	}
	take()
	take()
	third := sitelog.Subject{Service: job.Service, Site: "hilltop"}
	first := mustAppend(t, log, third, 0, "one")
	mustAppend(t, log, third, first, "two")
	fourth := sitelog.Subject{Service: job.Service, Site: "ferry"}
	mustAppend(t, log, fourth, 0, "one")
	take()
	take()
	cancel()
	if err := <-ended; !errors.Is(err, context.Canceled) {
		t.Errorf("sites ended with %v", err)
	}
	want := map[string]int{job.Site: 1, other.Site: 1, third.Site: 1, fourth.Site: 1}
	if !maps.Equal(seen, want) {
		t.Errorf("sites were given %v times", seen)
	}
}

func endedContext(t *testing.T, log sitelog.Log) {
	tail := mustAppend(t, log, job, 0, "one")
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := log.Append(ctx, job, tail, message("two")); err == nil {
		t.Error("append went through")
	}
	if _, err := log.Last(ctx, job); err == nil {
		t.Error("last went through")
	}
	if err := log.Read(ctx, job, 0, func(sitelog.Record) error { return nil }); err == nil {
		t.Error("read went through")
	}
	if err := log.Follow(ctx, job, 0, func(sitelog.Record) error { return nil }); err == nil {
		t.Error("follow went through")
	}
}
