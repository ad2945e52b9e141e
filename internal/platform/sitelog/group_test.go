package sitelog_test

import (
	"fmt"
	"sync"
	"testing"
	"testing/synctest"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/memory"
)

// held gives a log whose first append waits until it is let go.
func held(inner sitelog.Log) (log *meddled, letGo func()) {
	release := make(chan struct{})
	log = &meddled{Log: inner, append: func(n int, pass func() (uint64, error)) (uint64, error) {
		if n == 1 {
			<-release
		}
		return pass()
	}}
	return log, sync.OnceFunc(func() { close(release) })
}

// While one publish is under way, everybody else shares the next.
func TestGroupCommit(t *testing.T) {
	for _, c := range []struct {
		name     string
		o        sitelog.Options
		commits  int
		callers  int
		wordSize int
	}{
		{"all in one", sitelog.Options{}, 2, 64, 5},
		{"bounded by count", sitelog.Options{MaxBatch: 16}, 1 + 4, 65, 5},
		{"bounded by bytes", sitelog.Options{MaxCommitBytes: 8000}, 1 + 8, 65, 740},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				inner := memory.New()
				log, letGo := held(inner)
				r := open(t, log, boardMachine("job"), c.o)
				var wg sync.WaitGroup
				for i := range c.callers {
					wg.Go(func() { mustDo(t, r, add("", fmt.Sprintf("%0*d", c.wordSize, i))) })
					if i == 0 {
						synctest.Wait() // the first one is being published
					}
				}
				synctest.Wait()
				letGo()
				wg.Wait()
				b, commits := folded(t, inner, "job")
				if len(b.order) != c.callers || commits != c.commits {
					t.Errorf("%d commands in %d commits, not %d in %d", len(b.order), commits, c.callers, c.commits)
				}
			})
		})
	}
}

func TestQueueIsBounded(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		inner := memory.New()
		log, letGo := held(inner)
		r := open(t, log, boardMachine("job"), sitelog.Options{MaxBatch: 1, Queue: 3})
		// One is published, one is decided, three wait.
		var wg sync.WaitGroup
		for i := range 5 {
			wg.Go(func() { mustDo(t, r, add("", fmt.Sprint("word", i))) })
			synctest.Wait()
		}
		_, err := r.Do(t.Context(), site, add("", "one too many"))
		if fault.KindOf(err) != fault.Exhausted || fault.ReasonOf(err) != sitelog.ReasonQueueFull {
			t.Errorf("a full queue gives %v", err)
		}
		if _, err := r.Do(t.Context(), "harbour", add("", "elsewhere")); err != nil {
			t.Errorf("another site is held up: %v", err)
		}
		letGo()
		wg.Wait()
		mustDo(t, r, add("", "now"))
	})
}

// A view waits until what it has seen is on disk.
func TestViewWaitsForTheDisk(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		inner := memory.New()
		log, letGo := held(inner)
		r := open(t, log, boardMachine("job"), sitelog.Options{})
		go func() { _, _ = r.Do(t.Context(), site, add("", "anvil")) }()
		synctest.Wait()
		answered := false
		go func() {
			got := snapshot(t, r)
			answered = true
			if got.count["anvil"] != 1 {
				t.Errorf("the view has seen %v", got.order)
			}
		}()
		synctest.Wait()
		if answered {
			t.Error("the view was answered before the disk")
		}
		letGo()
		synctest.Wait()
		if !answered {
			t.Error("the view was not answered")
		}
	})
}

func TestWhatIsTooLargeIsRefusedAlone(t *testing.T) {
	log := memory.New()
	r := open(t, log, boardMachine("job"), sitelog.Options{MaxCommitBytes: 1000})
	_, err := r.Do(t.Context(), site, add("", fmt.Sprintf("%02000d", 1)))
	if fault.KindOf(err) != fault.Invalid || fault.ReasonOf(err) != sitelog.ReasonTooLarge {
		t.Errorf("a command that is too large gives %v", err)
	}
	mustDo(t, r, add("", "small"))
	expectLog(t, log, "job", "small")
}

func TestPanicsHitTheirOwnCallerOnly(t *testing.T) {
	log := memory.New()
	r := open(t, log, boardMachine("job"), sitelog.Options{})
	mustDo(t, r, add("", "anvil"))
	bad := add("", "x")
	bad.Decide = func(*board, sitelog.Input) (sitelog.Decision, error) { panic("in decide") }
	if _, err := r.Do(t.Context(), site, bad); fault.KindOf(err) != fault.Internal {
		t.Errorf("a panic in decide gives %v", err)
	}
	bad.Decide = func(*board, sitelog.Input) (sitelog.Decision, error) {
		return sitelog.Decision{Events: append(words("half"), breaking())}, nil
	}
	if _, err := r.Do(t.Context(), site, bad); fault.KindOf(err) != fault.Internal {
		t.Errorf("a panic in evolve gives %v", err)
	}
	if _, err := r.View(t.Context(), site, func(*board) error { panic("in view") }); fault.KindOf(err) != fault.Internal {
		t.Errorf("a panic in a view gives %v", err)
	}
	mustDo(t, r, add("", "bellows"))
	if got := snapshot(t, r); got.count["half"] != 0 {
		t.Errorf("half an effect is left: %v", got.order)
	}
	expectLog(t, log, "job", "anvil", "bellows")
}
