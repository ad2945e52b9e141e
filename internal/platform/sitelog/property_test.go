package sitelog_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"pgregory.net/rapid"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/memory"
)

// Whatever the log does to its callers: every acknowledged command is in it
// exactly once, no other is in it twice, the writers' state is the fold of the
// log, and a follower has reacted to each event exactly once and in order.
func TestRandomFaults(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		plan := drawPlan(rt)
		var problems []string
		synctest.Test(t, func(t *testing.T) { problems = plan.run(t) })
		if len(problems) > 0 {
			rt.Fatalf("%d problems:\n%s", len(problems), strings.Join(problems, "\n"))
		}
	})
}

type (
	// plan is what one run does; it is drawn before the run, which is in a
	// bubble of its own with fake time.
	plan struct {
		faults []string // of the log's operations in turn, again and again
		rounds []round
	}
	round struct {
		callers  int
		patience time.Duration
		kill     string
	}
)

func drawPlan(rt *rapid.T) plan {
	p := plan{faults: rapid.SliceOfN(rapid.SampledFrom([]string{
		"", "", "", "", "", "", "conflict", "lost answer", "lost message", "away", "slow",
	}), 1, 60).Draw(rt, "faults")}
	for range rapid.IntRange(1, 6).Draw(rt, "rounds") {
		p.rounds = append(p.rounds, round{
			callers:  rapid.IntRange(1, 8).Draw(rt, "callers"),
			patience: time.Duration(rapid.IntRange(1, 200).Draw(rt, "patience in ms")) * time.Millisecond,
			kill:     rapid.SampledFrom([]string{"", "", "writer", "follower"}).Draw(rt, "kill"),
		})
	}
	return p
}

// faultyWorld is two replicas of job, one follower, and a log that fails as planned.
type faultyWorld struct {
	t        *testing.T
	log      *memory.Log
	runners  []*sitelog.Runner[*board]
	follower *sitelog.Runner[*board]
	next     int

	mu       sync.Mutex
	acked    []string
	problems []string
}

func (p plan) run(t *testing.T) []string {
	w := &faultyWorld{t: t, log: memory.New()}
	var turn atomic.Int64
	w.log.SetHook(func(ctx context.Context, op memory.Operation, _ sitelog.Subject) memory.Effect {
		return effectOf(ctx, p.faults[int(turn.Add(1))%len(p.faults)], op)
	})
	w.runners = []*sitelog.Runner[*board]{w.start("job"), w.start("job")}
	w.follower = w.start("inventory", "job")
	for _, r := range p.rounds {
		w.play(r)
	}
	w.log.SetHook(nil)
	w.verify()
	for _, r := range append(w.runners, w.follower) {
		r.Abandon()
	}
	return w.problems
}

func effectOf(ctx context.Context, kind string, op memory.Operation) memory.Effect {
	switch {
	case kind == "slow":
		select {
		case <-time.After(20 * time.Millisecond):
		case <-ctx.Done():
		}
	case kind == "away":
		return memory.Away()
	case op != memory.Append: // reads only fail or are slow
	case kind == "conflict":
		return memory.Conflict()
	case kind == "lost answer":
		return memory.LostAnswer()
	case kind == "lost message":
		return memory.LostMessage()
	}
	return memory.Effect{}
}

func (w *faultyWorld) start(service string, follows ...string) *sitelog.Runner[*board] {
	r, err := sitelog.Open(w.t.Context(), w.log, boardMachine(service, follows...), sitelog.Options{MaxBatch: 4})
	if err != nil {
		w.t.Fatal(err)
	}
	return r
}

// play sends a few commands at once, and perhaps kills a writer meanwhile.
func (w *faultyWorld) play(r round) {
	var wg sync.WaitGroup
	for range r.callers {
		w.next++
		word, runner := fmt.Sprint("w", w.next), w.runners[w.next%2]
		wg.Go(func() { w.send(runner, word, r.patience) })
	}
	switch r.kill {
	case "writer":
		w.runners[0].Abandon()
		w.runners[0] = w.start("job")
	case "follower":
		w.follower.Abandon()
		w.follower = w.start("inventory", "job")
	}
	wg.Wait()
}

func (w *faultyWorld) problem(format string, args ...any) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.problems = append(w.problems, fmt.Sprintf(format, args...))
}

func (w *faultyWorld) send(r *sitelog.Runner[*board], word string, patience time.Duration) {
	ctx, cancel := context.WithTimeout(w.t.Context(), patience)
	defer cancel()
	_, err := r.Do(ctx, site, add("req-"+word, word))
	switch fault.KindOf(err) {
	case fault.Conflict, fault.Unavailable, fault.Deadline:
		return
	default:
		if err != nil {
			w.problem("%s: %v", word, err)
			return
		}
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.acked = append(w.acked, word)
}

func (w *faultyWorld) verify() {
	// A view on each brings all writers to the tail; then nothing is under way.
	snapshot(w.t, w.runners[0])
	snapshot(w.t, w.runners[1])
	synctest.Wait()
	want, _ := folded(w.t, w.log, "job")
	for word, n := range want.count {
		if n != 1 {
			w.problem("%s is in the log %d times", word, n)
		}
	}
	for _, word := range w.acked {
		if want.count[word] != 1 {
			w.problem("%s was acknowledged and is in the log %d times", word, want.count[word])
		}
	}
	for i, r := range w.runners {
		if got := snapshot(w.t, r); !slices.Equal(got.order, want.order) || !slices.EqualFunc(got.times, want.times, time.Time.Equal) {
			w.problem("writer %d has %v, the log %v", i, got.order, want.order)
		}
	}
	pass(time.Minute) // fake time: the pauses of the follower end
	reacted := make([]string, len(want.order))
	for i, word := range want.order {
		reacted[i] = "job:" + word
	}
	got, _ := folded(w.t, w.log, "inventory")
	if !slices.Equal(got.order, reacted) {
		w.problem("the follower has %v, not %v", got.order, reacted)
	}
}
