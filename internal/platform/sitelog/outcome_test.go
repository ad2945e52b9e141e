package sitelog_test

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/memory"
)

var errAway = errors.New("connection lost")

// An append can go wrong in every way; its command must be in the log once, and
// its caller must be told so.
func TestUnclearAppendsAreResolved(t *testing.T) {
	for name, meddle := range map[string]func(n int, pass func() (uint64, error)) (uint64, error){
		"the answer is lost": func(n int, pass func() (uint64, error)) (uint64, error) {
			sequence, err := pass()
			if n == 1 && err == nil {
				return 0, sitelog.ErrUnknownOutcome
			}
			return sequence, err
		},
		"the message is lost twice": func(n int, pass func() (uint64, error)) (uint64, error) {
			if n <= 2 {
				return 0, sitelog.ErrUnknownOutcome
			}
			return pass()
		},
		"a refusal has no reason": func(n int, pass func() (uint64, error)) (uint64, error) {
			if n <= 2 {
				return 0, sitelog.ErrConflict
			}
			return pass()
		},
		"refusals without a reason go on": func(n int, pass func() (uint64, error)) (uint64, error) {
			if n <= 6 {
				return 0, sitelog.ErrConflict
			}
			return pass()
		},
		"an error that nobody knows": func(n int, pass func() (uint64, error)) (uint64, error) {
			if n == 1 {
				_, _ = pass()
				return 0, errAway
			}
			return pass()
		},
	} {
		t.Run(name, func(t *testing.T) {
			eachLog(t, func(t *testing.T, inner sitelog.Log) {
				log := &meddled{Log: inner, append: meddle}
				r := open(t, log, boardMachine("job"), sitelog.Options{})
				if out := mustDo(t, r, add("req-0001", "anvil")); out.Revision == 0 {
					t.Errorf("the answer has no revision: %+v", out)
				}
				mustDo(t, r, add("req-0002", "bellows"))
				expectLog(t, inner, "job", "anvil", "bellows")
			})
		})
	}
}

// A publish that was given up can still arrive while the same commit is
// published again: the guard lets one copy in.
func TestLateArrivalIsNotDoubled(t *testing.T) {
	inner := memory.New()
	var late func() (uint64, error)
	log := &meddled{Log: inner, append: func(n int, pass func() (uint64, error)) (uint64, error) {
		switch n {
		case 1:
			late = pass
			return 0, sitelog.ErrUnknownOutcome
		case 2:
			if _, err := late(); err != nil {
				t.Errorf("the late message: %v", err)
			}
		}
		return pass()
	}}
	r := open(t, log, boardMachine("job"), sitelog.Options{})
	mustDo(t, r, add("req-0001", "anvil"))
	expectLog(t, inner, "job", "anvil")
}

// The answer is lost, and before the tail is read another writer appends.
func TestOutrunAfterALostAnswer(t *testing.T) {
	eachLog(t, func(t *testing.T, inner sitelog.Log) {
		rival := open(t, inner, boardMachine("job"), sitelog.Options{})
		log := &meddled{Log: inner, append: func(n int, pass func() (uint64, error)) (uint64, error) {
			sequence, err := pass()
			if n != 1 {
				return sequence, err
			}
			mustDo(t, rival, add("rival-01", "rival"))
			return 0, sitelog.ErrUnknownOutcome
		}}
		r := open(t, log, boardMachine("job"), sitelog.Options{})
		mustDo(t, r, add("req-0001", "anvil"))
		if got := snapshot(t, r); got.count["rival"] != 1 {
			t.Errorf("the writer does not know what came after: %v", got.order)
		}
		expectLog(t, inner, "job", "anvil", "rival")
	})
}

func expectLog(t *testing.T, log sitelog.Log, service string, words ...string) {
	t.Helper()
	b, _ := folded(t, log, service)
	if fmt.Sprint(b.order) != fmt.Sprint(words) {
		t.Errorf("the log holds %v, not %v", b.order, words)
	}
}

// While the log is away nothing is guessed: callers learn at their deadline
// that it is away, and later what became of their command.
func TestLogAwayIsUnavailableAtTheDeadline(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		inner := memory.New()
		log := &meddled{Log: inner}
		r := open(t, log, boardMachine("job"), sitelog.Options{})
		mustDo(t, r, add("req-0001", "anvil"))

		log.set(func(n int, pass func() (uint64, error)) (uint64, error) {
			if n == 2 { // it arrives, and then the line is cut
				_, _ = pass()
			}
			return 0, errAway
		}, func() error { return errAway })
		ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
		defer cancel()
		_, err := r.Do(ctx, site, add("req-0002", "bellows"))
		if fault.KindOf(err) != fault.Unavailable || fault.ReasonOf(err) != sitelog.ReasonLogUnavailable {
			t.Fatalf("the caller got %v", err)
		}

		log.set(nil, nil)
		out := mustDo(t, r, add("req-0002", "bellows"))
		if !out.Repeated {
			t.Errorf("the command was done again: %+v", out)
		}
		expectLog(t, inner, "job", "anvil", "bellows")
	})
}

// A caller who has all the time of the world is told as well, soon: it can say so
// to a person, and ask again by the same request_id.
func TestLogAwayIsToldBeforeTheDeadline(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		inner := memory.New()
		log := &meddled{Log: inner}
		r := open(t, log, boardMachine("job"), sitelog.Options{})
		mustDo(t, r, add("req-0001", "anvil"))
		log.set(func(int, func() (uint64, error)) (uint64, error) { return 0, errAway }, func() error { return errAway })
		for range 3 { // the same one and others, while it lasts
			for _, id := range []string{"req-0002", "req-0003"} {
				began := time.Now()
				_, err := r.Do(context.Background(), site, add(id, id))
				if fault.ReasonOf(err) != sitelog.ReasonLogUnavailable {
					t.Fatalf("the caller got %v", err)
				}
				if waited := time.Since(began); waited > 5*time.Second {
					t.Errorf("the caller was left waiting for %v", waited)
				}
			}
			if _, err := r.View(context.Background(), site, func(*board) error { return nil }); fault.KindOf(err) != fault.Unavailable {
				t.Errorf("a reader got %v", err)
			}
		}
		log.set(nil, nil)
		mustDo(t, r, add("req-0002", "req-0002"))
		mustDo(t, r, add("req-0003", "req-0003"))
		expectLog(t, inner, "job", "anvil", "req-0002", "req-0003")
	})
}

func TestCallerWhoLeavesLearnsWhy(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		inner := memory.New()
		release := make(chan struct{})
		log := &meddled{Log: inner, append: func(_ int, pass func() (uint64, error)) (uint64, error) {
			<-release
			return pass()
		}}
		r := open(t, log, boardMachine("job"), sitelog.Options{})
		short, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		if _, err := r.Do(short, site, add("req-0001", "anvil")); fault.KindOf(err) != fault.Deadline {
			t.Errorf("whose time was up got %v", err)
		}
		gone, leave := context.WithCancel(t.Context())
		leave()
		if _, err := r.Do(gone, site, add("req-0002", "bellows")); fault.KindOf(err) != fault.Canceled {
			t.Errorf("who went away got %v", err)
		}
		close(release)
		if out := mustDo(t, r, add("req-0001", "anvil")); out.Revision != 1 {
			t.Errorf("the command that nobody waited for: %+v", out)
		}
	})
}

// A writer that is behind must not refuse, nor show, what it saw on old state.
func TestStaleStateIsNeverAnsweredFrom(t *testing.T) {
	eachLog(t, func(t *testing.T, log sitelog.Log) {
		first := open(t, log, boardMachine("job"), sitelog.Options{})
		second := open(t, log, boardMachine("job"), sitelog.Options{})
		if got := snapshot(t, second); len(got.order) != 0 {
			t.Fatalf("the log is not empty: %v", got.order)
		}
		mustDo(t, first, add("req-0001", "anvil"))
		if _, err := second.Do(t.Context(), site, add("req-0002", "anvil")); !errors.Is(err, errThere) {
			t.Errorf("the word was added twice: %v", err)
		}
		mustDo(t, first, add("req-0003", "bellows"))
		if got := snapshot(t, second); got.count["bellows"] != 1 {
			t.Errorf("the second writer shows %v", got.order)
		}
		needs := add("req-0004", "tongs")
		decide := needs.Decide
		needs.Decide = func(b *board, in sitelog.Input) (sitelog.Decision, error) {
			if b.count["clamp"] == 0 {
				return sitelog.Decision{}, errors.New("refused on old state")
			}
			return decide(b, in)
		}
		mustDo(t, first, add("req-0005", "clamp"))
		mustDo(t, second, needs)
	})
}

// Two writers fight over one log. Whoever was answered is in it exactly once.
func TestTwoWritersOnOneLog(t *testing.T) {
	eachLog(t, func(t *testing.T, log sitelog.Log) {
		runners := []*sitelog.Runner[*board]{
			open(t, log, boardMachine("job"), sitelog.Options{}),
			open(t, log, boardMachine("job"), sitelog.Options{}),
		}
		const callers, each = 8, 20
		var wg sync.WaitGroup
		for i, r := range runners {
			for c := range callers {
				wg.Go(func() {
					for n := range each {
						insist(t, r, add(fmt.Sprintf("req-%d-%d-%03d", i, c, n), fmt.Sprintf("w%d-%d-%d", i, c, n)))
					}
				})
			}
		}
		wg.Wait()
		b, commits := folded(t, log, "job")
		want := len(runners) * callers * each
		if len(b.order) != want || len(b.count) != want {
			t.Errorf("%d events of %d words, %d commands were answered", len(b.order), len(b.count), want)
		}
		t.Logf("%d commands in %d commits", want, commits)
	})
}

// insist repeats a command that lost too many races.
func insist(t *testing.T, r *sitelog.Runner[*board], c sitelog.Command[*board]) {
	for {
		_, err := r.Do(t.Context(), site, c)
		if err == nil {
			return
		}
		if fault.KindOf(err) != fault.Conflict {
			t.Errorf("%s: %v", c.RequestID, err)
			return
		}
	}
}

// A caller who left is not written to: what View filled in is the caller's, the
// moment it has returned. The race detector is the judge.
func TestAViewThatEndedFillsNothingIn(t *testing.T) {
	r := open(t, memory.New(), boardMachine("job"), sitelog.Options{})
	mustDo(t, r, add("req-0001", "anvil"))
	for range 200 {
		ctx, cancel := context.WithCancel(t.Context())
		seen := 0
		go cancel()
		_, err := r.View(ctx, site, func(*board) error {
			seen++
			return nil
		})
		if err == nil && seen == 0 {
			t.Fatal("nothing was seen, and nothing went wrong")
		}
		seen++
	}
}
