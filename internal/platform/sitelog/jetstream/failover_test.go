package jetstream_test

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/wrapperspb"

	"ramprow/internal/platform/embedded"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/jetstream"
)

// words is a machine that writes down every word it is told, as often as it is told.
func words() sitelog.Machine[*struct{}] {
	return sitelog.Machine[*struct{}]{
		Service: subject.Service,
		New:     func(string) *struct{} { return &struct{}{} },
		Evolve:  func(*struct{}, sitelog.Event) {},
	}
}

func say(word string) sitelog.Command[*struct{}] {
	return sitelog.Command[*struct{}]{
		Method: "/test.Words/Say", RequestID: word, Request: wrapperspb.String(word),
		Decide: func(*struct{}, sitelog.Input) (sitelog.Decision, error) {
			return sitelog.Decision{Events: []proto.Message{wrapperspb.String(word)}, Response: wrapperspb.String(word)}, nil
		},
	}
}

// sayUntilHeard sends a word again and again, as an impatient client does.
func sayUntilHeard(t *testing.T, r *sitelog.Runner[*struct{}], word string) (revision uint64) {
	for {
		ctx, cancel := context.WithTimeout(t.Context(), 300*time.Millisecond)
		out, err := r.Do(ctx, subject.Site, say(word))
		cancel()
		if err == nil {
			return out.Revision
		}
		if t.Context().Err() != nil {
			return 0
		}
		f, ok := errors.AsType[*fault.Error](err)
		if !ok || (f.Kind != fault.Unavailable && f.Kind != fault.Deadline) {
			t.Errorf("%s: %v", word, err)
			return 0
		}
	}
}

// commandsOutliveLeaders takes the leader away in the middle of many commands,
// twice by its own will and once by stopping its server. What was acknowledged
// is there exactly once, and no read is behind an acknowledgement.
func (c *cluster) commandsOutliveLeaders(t *testing.T) {
	runner, err := sitelog.Open(t.Context(), c.connect(t, 0), words(), sitelog.Options{MaxBatch: 4})
	if err != nil {
		t.Fatal(err)
	}
	defer runner.Close()
	const callers, each = 8, 60
	var done, newest atomic.Uint64
	var working, reading sync.WaitGroup
	ctx, cancel := context.WithCancel(t.Context())
	var reads atomic.Uint64
	for i := range clusterSize {
		log := c.connect(t, i)
		reading.Go(func() { neverStale(ctx, t, log, &newest, &reads) })
	}
	until(t, "the first reads", func() bool { return reads.Load() > clusterSize })
	for caller := range callers {
		working.Go(func() {
			for i := range each {
				revision := sayUntilHeard(t, runner, fmt.Sprintf("word-%d-%d", caller, i))
				raise(&newest, revision)
				done.Add(1)
			}
		})
	}
	for _, disturb := range []struct {
		at uint64
		do func(*server.Server)
	}{
		{callers * each / 5, c.stepDown(t)},
		{callers * each * 2 / 5, c.stepDown(t)},
		{callers * each * 3 / 5, embedded.StopNATS},
	} {
		var leader *server.Server
		until(t, "the commands go on and there is a leader", func() bool {
			leader = c.leader(subject.Service)
			return done.Load() >= disturb.at && leader != nil
		})
		disturb.do(leader)
	}
	working.Wait()
	cancel()
	reading.Wait()
	if reads.Load() == 0 {
		t.Error("nothing was read meanwhile")
	}
	said := wordsOf(t, c.connect(t, 0))
	for caller := range callers {
		for i := range each {
			if word := fmt.Sprintf("word-%d-%d", caller, i); said[word] != 1 {
				t.Errorf("%s is there %d times", word, said[word])
			}
		}
	}
	if len(said) != callers*each {
		t.Errorf("%d words are there, and %d were said", len(said), callers*each)
	}
}

func (c *cluster) stepDown(t *testing.T) func(*server.Server) {
	return func(s *server.Server) {
		if err := s.JetStreamStepdownStream(server.DEFAULT_GLOBAL_ACCOUNT, jetstream.StreamName(subject.Service)); err != nil {
			t.Errorf("step down: %v", err)
		}
	}
}

// neverStale reads the tail until ctx ends. An error is no answer; an answer
// must not be older than what was acknowledged before the question.
func neverStale(ctx context.Context, t *testing.T, log *jetstream.Log, newest, reads *atomic.Uint64) {
	for ctx.Err() == nil {
		floor := newest.Load()
		last, err := log.Last(ctx, subject)
		if err != nil {
			continue
		}
		reads.Add(1)
		if last.Sequence < floor {
			t.Errorf("the tail was said to be %d after %d was acknowledged", last.Sequence, floor)
		}
	}
}

func raise(to *atomic.Uint64, value uint64) {
	for old := to.Load(); value > old && !to.CompareAndSwap(old, value); old = to.Load() {
	}
}

// wordsOf counts the words in the log, whose chain must hold.
func wordsOf(t *testing.T, log sitelog.Log) map[string]int {
	t.Helper()
	said := map[string]int{}
	chain := sitelog.Chain{Subject: subject}
	err := log.Read(t.Context(), subject, 0, func(r sitelog.Record) error {
		if _, err := chain.Next(r); err != nil {
			return err
		}
		events, err := sitelog.EventsOf(r)
		for _, e := range events {
			said[e.Message.(*wrapperspb.StringValue).GetValue()]++
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return said
}
