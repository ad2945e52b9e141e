package sitelog_test

import (
	"context"
	"fmt"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/wrapperspb"

	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/memory"
	logv1 "ramprow/proto/ramprow/log/v1"
)

// say is a command that adds words without looking whether they are there.
func say(said ...string) sitelog.Command[*board] {
	return sitelog.Command[*board]{
		Method: "/test.Board/Say",
		Decide: func(*board, sitelog.Input) (sitelog.Decision, error) {
			return sitelog.Decision{Events: words(said...)}, nil
		},
	}
}

func words(said ...string) []proto.Message {
	events := make([]proto.Message, len(said))
	for i, word := range said {
		events[i] = wrapperspb.String(word)
	}
	return events
}

// awaitState waits until a follower has got somewhere. It asks again and again;
// the test's own deadline ends it.
func awaitState(t *testing.T, r *sitelog.Runner[*board], until func(*board) bool) {
	t.Helper()
	for done := false; !done; {
		if _, err := r.View(t.Context(), site, func(b *board) error {
			done = until(b)
			return nil
		}); err != nil {
			t.Fatalf("while waiting: %v", err)
		}
	}
}

func TestFollowerFarBehindMissesAndRepeatsNothing(t *testing.T) {
	eachLog(t, func(t *testing.T, log sitelog.Log) {
		job := open(t, log, boardMachine("job"), sitelog.Options{})
		const n = 300
		var want []string
		for i := range n {
			mustDo(t, job, say(fmt.Sprint("a", i), fmt.Sprint("skip", i), fmt.Sprint("b", i)))
			want = append(want, fmt.Sprint("job:a", i), fmt.Sprint("job:b", i))
		}
		// The follower crashes a few times on its way.
		for range 4 {
			doomed := open(t, log, boardMachine("inventory", "job"), sitelog.Options{MaxBatch: 16})
			before := len(snapshot(t, doomed).order)
			awaitState(t, doomed, func(b *board) bool { return len(b.order) > before || len(b.order) == len(want) })
			doomed.Abandon()
		}
		inventory := open(t, log, boardMachine("inventory", "job"), sitelog.Options{})
		awaitState(t, inventory, func(b *board) bool { return b.count[want[len(want)-1]] > 0 })
		expectLog(t, log, "inventory", want...)
		d, err := inventory.Describe(t.Context(), site)
		if err != nil || d.Positions["job"] != n {
			t.Errorf("described as %+v, %v", d, err)
		}
	})
}

// All effects of one foreign commit land in one own commit, with its place.
func TestReactionsOfOneCommitLandTogether(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log := memory.New()
		job := open(t, log, boardMachine("job"), sitelog.Options{})
		open(t, log, boardMachine("inventory", "job"), sitelog.Options{MaxBatch: 2})
		mustDo(t, job, say("a", "b", "skip", "c", "d"))
		synctest.Wait()
		var commits []*logv1.Commit
		readCommits(t, log, "inventory", func(c *logv1.Commit) { commits = append(commits, c) })
		if len(commits) != 1 || len(commits[0].GetEntries()) != 4 {
			t.Fatalf("%d commits: %v", len(commits), commits)
		}
		last := commits[0].GetEntries()[3].GetReaction()
		if last.GetService() != "job" || last.GetSequence() != 1 || last.GetEntryIndex() != 0 || last.GetEventIndex() != 4 || last.GetCommitId() == "" {
			t.Errorf("the last reaction says it came from %v", last)
		}
	})
}

func readCommits(t *testing.T, log sitelog.Log, service string, fn func(*logv1.Commit)) {
	t.Helper()
	s := sitelog.Subject{Service: service, Site: site}
	if err := log.Read(t.Context(), s, 0, func(r sitelog.Record) error {
		c, err := sitelog.DecodeCommit(r.Data)
		if err == nil {
			fn(c)
		}
		return err
	}); err != nil {
		t.Fatal(err)
	}
}

// What is of no interest costs one small commit in a thousand, and after a
// restart the follower goes on from there.
func TestProgressIsWrittenSeldom(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log := memory.New()
		job := open(t, log, boardMachine("job"), sitelog.Options{})
		inventory := open(t, log, boardMachine("inventory", "job"), sitelog.Options{})
		for i := range 2*sitelog.ProgressEvery + 500 {
			mustDo(t, job, say(fmt.Sprint("skip", i)))
		}
		synctest.Wait()
		var at []uint64
		readCommits(t, log, "inventory", func(c *logv1.Commit) {
			at = append(at, c.GetEntries()[0].GetProgress().GetSequence())
		})
		if fmt.Sprint(at) != fmt.Sprint([]uint64{sitelog.ProgressEvery, 2 * sitelog.ProgressEvery}) {
			t.Errorf("progress was written at %v", at)
		}
		inventory.Close()

		var from atomic.Uint64
		counted := &countingFollow{Log: log, from: &from}
		open(t, counted, boardMachine("inventory", "job"), sitelog.Options{})
		synctest.Wait()
		if from.Load() != 2*sitelog.ProgressEvery {
			t.Errorf("after the restart the follower begins after %d", from.Load())
		}
	})
}

type countingFollow struct {
	sitelog.Log
	from *atomic.Uint64
}

func (c *countingFollow) Follow(ctx context.Context, s sitelog.Subject, after uint64, fn func(sitelog.Record) error) error {
	c.from.Store(after)
	return c.Log.Follow(ctx, s, after, fn)
}

// Two services that follow each other come to rest.
func TestFollowingEachOtherComesToRest(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log := memory.New()
		// Neither reacts to what the other derived from it.
		one, two := boardMachine("one", "two"), boardMachine("two", "one")
		one.React, two.React = reactOnce, reactOnce
		a := open(t, log, one, sitelog.Options{})
		open(t, log, two, sitelog.Options{})
		for i := range 3 * sitelog.ProgressEvery {
			mustDo(t, a, say(fmt.Sprint("skip", i)))
		}
		mustDo(t, a, say("ping"))
		synctest.Wait() // it would not return while they still write
		b, commits := folded(t, log, "two")
		if b.count["one:ping"] != 1 || commits > 4 {
			t.Errorf("two holds %v in %d commits", b.order, commits)
		}
	})
}

func reactOnce(b *board, f sitelog.Foreign, in sitelog.Input) ([]proto.Message, error) {
	if strings.Contains(text(f.Message), ":") {
		return nil, nil
	}
	return reactBoard(b, f, in)
}

// A log that gives records again does no harm.
func TestRedeliveryIsIgnored(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log := memory.New()
		job := open(t, log, boardMachine("job"), sitelog.Options{})
		open(t, &stutter{Log: log}, boardMachine("inventory", "job"), sitelog.Options{})
		for _, word := range []string{"a", "b", "c"} {
			mustDo(t, job, say(word))
		}
		synctest.Wait()
		expectLog(t, log, "inventory", "job:a", "job:b", "job:c")
	})
}

// stutter gives every followed record twice.
type stutter struct{ sitelog.Log }

func (s *stutter) Follow(ctx context.Context, of sitelog.Subject, after uint64, fn func(sitelog.Record) error) error {
	return s.Log.Follow(ctx, of, after, func(r sitelog.Record) error {
		if err := fn(r); err != nil {
			return err
		}
		return fn(r)
	})
}

// Effects that no longer fit into one commit are parked, not lost.
func TestReactionsThatDoNotFitAreParked(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log := memory.New()
		job := open(t, log, boardMachine("job"), sitelog.Options{})
		inventory := open(t, log, boardMachine("inventory", "job"), sitelog.Options{MaxCommitBytes: 1000})
		mustDo(t, job, say(fmt.Sprintf("%0950d", 1), fmt.Sprintf("%0950d", 2), "small"))
		synctest.Wait()
		if got := parkedIDs(t, inventory); got != "job.1.0.1 job.1.0.2" {
			t.Errorf("parked are %s", got)
		}
	})
}

// Two replicas of a follower react once.
func TestTwoFollowersReactOnce(t *testing.T) {
	eachLog(t, func(t *testing.T, log sitelog.Log) {
		job := open(t, log, boardMachine("job"), sitelog.Options{})
		one := open(t, log, boardMachine("inventory", "job"), sitelog.Options{})
		two := open(t, log, boardMachine("inventory", "job"), sitelog.Options{})
		const n = 60
		var want []string
		for i := range n {
			mustDo(t, job, say(fmt.Sprint("w", i)))
			want = append(want, fmt.Sprint("job:w", i))
		}
		for _, r := range []*sitelog.Runner[*board]{one, two} {
			awaitState(t, r, func(b *board) bool { return b.count[want[n-1]] > 0 })
		}
		expectLog(t, log, "inventory", want...)
	})
}
