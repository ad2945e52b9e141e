package sitelog_test

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"
	"google.golang.org/protobuf/types/known/wrapperspb"

	"ramprow/internal/platform/sitelog"
)

const site = "main-street"

// board is the state of the tests' machine: who added what how often, in which
// order, and one alarm.
type board struct {
	count map[string]int
	order []string
	times []time.Time
	alarm time.Time
}

func text(m proto.Message) string { return m.(*wrapperspb.StringValue).GetValue() }

// boardMachine adds words. A word from a followed service is added as
// "<service>:<word>"; words that begin with "skip" are of no interest, those
// that begin with "bad" cannot be handled while *broken.
func boardMachine(service string, follows ...string) sitelog.Machine[*board] {
	m := sitelog.Machine[*board]{
		Service: service,
		New:     func(string) *board { return &board{count: map[string]int{}} },
		Evolve:  evolveBoard,
		Follows: follows,
		Due:     func(b *board) (time.Time, bool) { return b.alarm, !b.alarm.IsZero() },
		Fire: func(*board, sitelog.Input) ([]proto.Message, error) {
			return []proto.Message{wrapperspb.String("rang"), &timestamppb.Timestamp{}}, nil
		},
	}
	if len(follows) > 0 {
		m.React = reactBoard
	}
	return m
}

func evolveBoard(b *board, e sitelog.Event) {
	switch m := e.Message.(type) {
	case *wrapperspb.StringValue:
		b.count[m.GetValue()]++
		b.order = append(b.order, m.GetValue())
		b.times = append(b.times, e.Time)
	case *timestamppb.Timestamp: // sets the alarm; the zero time takes it back
		b.alarm = time.Time{}
		if m.GetSeconds() != 0 {
			b.alarm = m.AsTime()
		}
	case *wrapperspb.BoolValue:
		panic("this event breaks evolve")
	}
}

var errNotYet = errors.New("not to be handled yet")

func reactBoard(b *board, f sitelog.Foreign, _ sitelog.Input) ([]proto.Message, error) {
	word, ok := f.Message.(*wrapperspb.StringValue)
	switch {
	case !ok, strings.HasPrefix(word.GetValue(), "skip"):
		return nil, nil
	case strings.HasPrefix(word.GetValue(), "bad") && b.count["mended"] == 0:
		return nil, errNotYet
	case strings.HasPrefix(word.GetValue(), "panic") && b.count["mended"] == 0:
		panic("cannot react")
	case strings.HasPrefix(word.GetValue(), "poison") && b.count["mended"] == 0:
		return []proto.Message{wrapperspb.Bool(true)}, nil
	}
	return []proto.Message{wrapperspb.String(f.Service + ":" + word.GetValue())}, nil
}

// add is a command that adds a word once, and refuses it the second time.
func add(requestID, word string) sitelog.Command[*board] {
	return sitelog.Command[*board]{
		Method:    "/test.Board/Add",
		RequestID: requestID,
		Request:   wrapperspb.String(word),
		Actor:     sitelog.Actor{Person: "ada", Roles: []string{"ROLE_OWNER"}},
		Decide: func(b *board, _ sitelog.Input) (sitelog.Decision, error) {
			if b.count[word] > 0 {
				return sitelog.Decision{}, fmt.Errorf("%w: %s", errThere, word)
			}
			return sitelog.Decision{
				Events:   []proto.Message{wrapperspb.String(word)},
				Response: wrapperspb.Int64(int64(len(b.order)) + 1),
			}, nil
		},
	}
}

var errThere = errors.New("the word is there already")

func setAlarm(at time.Time) sitelog.Command[*board] {
	return sitelog.Command[*board]{
		Method: "/test.Board/SetAlarm",
		Decide: func(*board, sitelog.Input) (sitelog.Decision, error) {
			return sitelog.Decision{Events: []proto.Message{timestamppb.New(at)}}, nil
		},
	}
}

func open[S any](t testing.TB, log sitelog.Log, m sitelog.Machine[S], o sitelog.Options) *sitelog.Runner[S] {
	t.Helper()
	r, err := sitelog.Open(t.Context(), log, m, o)
	if err != nil {
		t.Fatalf("open: %v", err)
	}
	t.Cleanup(r.Close)
	return r
}

func mustDo[S any](t testing.TB, r *sitelog.Runner[S], c sitelog.Command[S]) sitelog.Outcome {
	t.Helper()
	out, err := r.Do(t.Context(), site, c)
	if err != nil {
		t.Fatalf("%s %v: %v", c.Method, c.Request, err)
	}
	return out
}

// snapshot copies the state out.
func snapshot(t testing.TB, r *sitelog.Runner[*board]) board {
	t.Helper()
	var got board
	if _, err := r.View(t.Context(), site, func(b *board) error {
		got = board{count: maps.Clone(b.count), order: slices.Clone(b.order), times: slices.Clone(b.times), alarm: b.alarm}
		return nil
	}); err != nil {
		t.Fatalf("view: %v", err)
	}
	return got
}

// folded is the fold of a log by this test's own few lines, independent of the runner.
func folded(t testing.TB, log sitelog.Log, service string) (b board, commits int) {
	t.Helper()
	b.count = map[string]int{}
	s := sitelog.Subject{Service: service, Site: site}
	chain := sitelog.Chain{Subject: s}
	err := log.Read(context.Background(), s, 0, func(r sitelog.Record) error {
		commits++
		if _, err := chain.Next(r); err != nil {
			return err
		}
		events, err := sitelog.EventsOf(r)
		for _, e := range events {
			evolveBoard(&b, e)
		}
		return err
	})
	if err != nil {
		t.Fatalf("read the log: %v", err)
	}
	return b, commits
}

// breaking is an event that Evolve panics on.
func breaking() proto.Message { return wrapperspb.Bool(true) }
