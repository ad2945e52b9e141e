package sitelog_test

import (
	"sync/atomic"
	"testing"
	"testing/synctest"

	"ramprow/internal/platform/sitelog/memory"
)

// TestTheReplicaAtWorkIsToldOfMoves: whoever cares for a site hears of its commits and of having
// become the one, and nobody else does.
func TestTheReplicaAtWorkIsToldOfMoves(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log, store := memory.New(), &memory.Snapshots{}
		one, two := openReplica(t, log, store, "one"), openReplica(t, log, store, "two")
		var told [2]atomic.Int64
		want := func(when string, first, second int64) {
			t.Helper()
			synctest.Wait()
			if a, b := told[0].Swap(0), told[1].Swap(0); a != first || b != second {
				t.Errorf("%s: told %d and %d times, want %d and %d", when, a, b, first, second)
			}
			if one.Active(site) == two.Active(site) {
				t.Errorf("%s: one is at work: %v, two: %v", when, one.Active(site), two.Active(site))
			}
		}
		mustDo(t, one.Runner, add("request-1", "a"))
		mustDo(t, two.Runner, add("request-2", "b"))
		one.become(true)
		synctest.Wait()
		one.OnMove(func(string) { told[0].Add(1) })
		two.OnMove(func(string) { told[1].Add(1) })
		want("when it asks to be told", 1, 0)
		mustDo(t, one.Runner, add("request-3", "c"))
		want("a commit", 1, 0)
		one.become(false)
		two.become(true)
		want("the other took over", 0, 1)
		mustDo(t, two.Runner, add("request-4", "d"))
		want("a commit of the other", 0, 1)
	})
}
