package sitelog_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/memory"
	logv1 "ramprow/proto/ramprow/log/v1"
)

// replica is one of several runners over one log; what it writes bears its name.
type replica struct {
	*sitelog.Runner[*board]
	active atomic.Bool
	store  countingStore
}

type countingStore struct {
	sitelog.SnapshotStore
	puts atomic.Int64
}

func (c *countingStore) Put(ctx context.Context, s sitelog.Subject, schema uint32, data []byte) error {
	c.puts.Add(1)
	return c.SnapshotStore.Put(ctx, s, schema, data)
}

func openReplica(t *testing.T, log sitelog.Log, store sitelog.SnapshotStore, name string) *replica {
	t.Helper()
	r := &replica{store: countingStore{SnapshotStore: store}}
	var n atomic.Int64
	r.Runner = open(t, log, keptMachine("inventory", "job"), sitelog.Options{
		NewID:  func() string { return fmt.Sprint(name, "-", n.Add(1)) },
		Active: func(string) bool { return r.active.Load() },
		// Every commit makes a snapshot due.
		Snapshots: &r.store, SnapshotCommits: 1,
	})
	return r
}

func (r *replica) become(active bool) {
	r.active.Store(active)
	r.Wake()
}

// authors names who wrote the commits of a log, in order.
func authors(t *testing.T, log sitelog.Log, service string) string {
	t.Helper()
	var names []string
	readCommits(t, log, service, func(c *logv1.Commit) {
		name, _, _ := strings.Cut(c.GetId(), "-")
		names = append(names, name)
	})
	return strings.Join(names, " ")
}

func TestOnlyTheActiveReplicaWorksByItself(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log, store := memory.New(), &memory.Snapshots{}
		job := open(t, log, boardMachine("job"), sitelog.Options{})
		one, two := openReplica(t, log, store, "one"), openReplica(t, log, store, "two")

		mustDo(t, job, say("a"))
		synctest.Wait()
		if got := authors(t, log, "inventory"); got != "" {
			t.Fatalf("nobody is active, and %s wrote", got)
		}
		one.become(true)
		synctest.Wait()
		mustDo(t, job, say("b"))
		synctest.Wait()
		expectLog(t, log, "inventory", "job:a", "job:b")

		// Whoever is not active still answers, on the newest state.
		mustDo(t, two.Runner, add("request-1", "c"))
		mustDo(t, two.Runner, setAlarm(time.Now().Add(time.Hour)))
		one.Wake()
		pass(time.Hour)
		one.become(false)
		synctest.Wait()
		if two.store.puts.Load() != 0 {
			t.Error("who is not active made a snapshot")
		}
		mustDo(t, job, say("d"))
		synctest.Wait()
		two.become(true)
		synctest.Wait()
		mustDo(t, job, say("e"))
		synctest.Wait()
		if got, want := authors(t, log, "inventory"), "one one two two one two two"; got != want {
			t.Errorf("%s wrote, not %s", got, want)
		}
		b, _ := folded(t, log, "inventory")
		if got := strings.Join(b.order, " "); got != "job:a job:b c rang job:d job:e" {
			t.Errorf("the log says %s", got)
		}
		if one.store.puts.Load() == 0 || two.store.puts.Load() == 0 {
			t.Errorf("one made %d snapshots, two %d", one.store.puts.Load(), two.store.puts.Load())
		}
	})
}

// Whoever is active changes at random, now and then it is both or none, and
// callers ask either: every word is in the log once.
func TestWhoIsActiveMattersToNobody(t *testing.T) {
	log, store := memory.New(), &memory.Snapshots{}
	job := open(t, log, boardMachine("job"), sitelog.Options{})
	replicas := []*replica{openReplica(t, log, store, "one"), openReplica(t, log, store, "two")}
	const callers, each = 8, 40
	var wg sync.WaitGroup
	for c := range callers {
		wg.Go(func() {
			random := rand.New(rand.NewPCG(uint64(c), 3))
			for i := range each {
				word := fmt.Sprintf("word-%d-%d", c, i)
				mustDo(t, job, say(word))
				_, err := replicas[random.IntN(2)].Do(t.Context(), site, add(word, word))
				for err != nil { // contended: the same request again
					_, err = replicas[random.IntN(2)].Do(t.Context(), site, add(word, word))
				}
				replicas[random.IntN(2)].become(random.IntN(2) == 0)
			}
		})
	}
	wg.Wait()
	replicas[0].become(false)
	replicas[1].become(true)
	awaitState(t, replicas[1].Runner, func(b *board) bool { return len(b.order) >= 2*callers*each })
	b, _ := folded(t, log, "inventory")
	for c := range callers {
		for i := range each {
			word := fmt.Sprintf("word-%d-%d", c, i)
			if b.count[word] != 1 || b.count["job:"+word] != 1 {
				t.Fatalf("%s was added %d times, and reacted to %d times", word, b.count[word], b.count["job:"+word])
			}
		}
	}
	if len(b.order) != 2*callers*each {
		t.Errorf("%d words, not %d", len(b.order), 2*callers*each)
	}
}
