package sitelog_test

import (
	"errors"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/memory"
	logv1 "ramprow/proto/ramprow/log/v1"
)

// pass lets time pass in a synctest bubble until everything is at rest again.
func pass(d time.Duration) {
	<-time.After(d)
	synctest.Wait()
}

func TestTimerFiresWhenItIsDue(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log := memory.New()
		r := open(t, log, boardMachine("job"), sitelog.Options{})
		due := time.Now().Add(3 * time.Hour)
		mustDo(t, r, setAlarm(due))
		pass(3*time.Hour - time.Nanosecond)
		if b, _ := folded(t, log, "job"); b.count["rang"] != 0 {
			t.Fatal("it rang too early")
		}
		pass(time.Nanosecond)
		b, _ := folded(t, log, "job")
		if b.count["rang"] != 1 || !b.times[0].Equal(due) {
			t.Fatalf("it rang %d times, at %v instead of %v", b.count["rang"], b.times, due)
		}
		var cause *logv1.TimerCause
		readCommits(t, log, "job", func(c *logv1.Commit) { cause = c.GetEntries()[0].GetTimer() })
		if !cause.GetDue().AsTime().Equal(due) {
			t.Errorf("the log says that %v was due", cause.GetDue().AsTime())
		}
	})
}

func TestTimerOutlivesARestart(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log := memory.New()
		for name, down := range map[string]time.Duration{"due later": 0, "due while it was down": 5 * time.Hour} {
			before, _ := folded(t, log, "job")
			r := open(t, log, boardMachine("job"), sitelog.Options{})
			mustDo(t, r, setAlarm(time.Now().Add(time.Hour)))
			r.Close()
			pass(down)
			again := open(t, log, boardMachine("job"), sitelog.Options{})
			pass(time.Hour)
			if b, _ := folded(t, log, "job"); b.count["rang"] != before.count["rang"]+1 {
				t.Errorf("%s: rang %d times", name, b.count["rang"]-before.count["rang"])
			}
			again.Close()
		}
	})
}

// Commands that are under way when something falls due do not put it off.
func TestTimerFiresBeforeALaterCommand(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log := memory.New()
		r := open(t, log, boardMachine("job"), sitelog.Options{})
		mustDo(t, r, setAlarm(time.Now().Add(time.Hour)))
		r.Close()
		pass(2 * time.Hour)
		again := open(t, log, boardMachine("job"), sitelog.Options{})
		mustDo(t, again, say("late"))
		expectLog(t, log, "job", "rang", "late")
	})
}

func TestTimerThatDoesNotHelpBacksOff(t *testing.T) {
	for name, fire := range map[string]func(*board, sitelog.Input) ([]proto.Message, error){
		"it fails":         func(*board, sitelog.Input) ([]proto.Message, error) { return nil, errors.New("cannot") },
		"it panics":        func(*board, sitelog.Input) ([]proto.Message, error) { panic("cannot") },
		"it does nothing":  func(*board, sitelog.Input) ([]proto.Message, error) { return nil, nil },
		"it leaves it due": func(*board, sitelog.Input) ([]proto.Message, error) { return words("rang"), nil },
		"its effects break it": func(*board, sitelog.Input) ([]proto.Message, error) {
			return []proto.Message{breaking()}, nil
		},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				log := memory.New()
				var fired atomic.Int64
				m := boardMachine("job")
				m.Fire = func(b *board, in sitelog.Input) ([]proto.Message, error) {
					fired.Add(1)
					return fire(b, in)
				}
				r := open(t, log, m, sitelog.Options{})
				mustDo(t, r, setAlarm(time.Now()))
				pass(10 * time.Minute)
				// 1, 2, 4 … 32 s, then once a minute: about 15 times.
				if n := fired.Load(); n < 10 || n > 20 {
					t.Errorf("fired %d times in ten minutes", n)
				}
				mustDo(t, r, add("req-0001", "anvil"))
			})
		})
	}
}
