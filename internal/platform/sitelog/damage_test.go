package sitelog_test

import (
	"errors"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/memory"
	logv1 "ramprow/proto/ramprow/log/v1"
)

var jobSubject = sitelog.Subject{Service: "job", Site: site}

// alter changes a commit and encodes it again.
func alter(t *testing.T, r *sitelog.Record, change func(*logv1.Commit)) {
	commit, err := sitelog.DecodeCommit(r.Data)
	if err != nil {
		t.Fatal(err)
	}
	change(commit)
	if r.Data, err = proto.Marshal(commit); err != nil {
		t.Fatal(err)
	}
}

func TestDamageStopsTheSiteAndNamesTheSequence(t *testing.T) {
	for _, c := range []struct {
		name     string
		damage   func(t *testing.T, log *memory.Log)
		sequence uint64
		reason   string
	}{
		{"a changed commit breaks the chain at the next", func(t *testing.T, log *memory.Log) {
			log.Tamper(jobSubject, 2, func(r *sitelog.Record) {
				alter(t, r, func(c *logv1.Commit) { c.Entries[0].Actor.Person = "eve" })
			})
		}, 3, "hash"},
		{"a commit is gone", func(_ *testing.T, log *memory.Log) { log.Remove(jobSubject, 2) }, 3, "commit 3 where 2 is due"},
		{"the first commit is gone", func(_ *testing.T, log *memory.Log) { log.Remove(jobSubject, 1) }, 2, "commit 2 where 1 is due"},
		{"bytes are no commit", func(_ *testing.T, log *memory.Log) {
			log.Tamper(jobSubject, 2, func(r *sitelog.Record) { r.Data = []byte("\xff\xffrubbish") })
		}, 2, "not a commit"},
		{"a commit of another site", func(t *testing.T, log *memory.Log) {
			log.Tamper(jobSubject, 1, func(r *sitelog.Record) { alter(t, r, func(c *logv1.Commit) { c.Site = "harbour" }) })
		}, 1, "harbour"},
		{"an event that this build does not know", func(t *testing.T, log *memory.Log) {
			log.Tamper(jobSubject, 3, func(r *sitelog.Record) {
				alter(t, r, func(c *logv1.Commit) { c.Entries[0].Events[0].TypeUrl = "type.googleapis.com/ramprow.unknown.v9.Event" })
			})
		}, 3, "ramprow.unknown.v9.Event"},
	} {
		t.Run(c.name, func(t *testing.T) {
			log := memory.New()
			healthy := open(t, log, boardMachine("job"), sitelog.Options{})
			for _, word := range []string{"anvil", "bellows", "clamp"} {
				mustDo(t, healthy, add("req-"+word, word))
			}
			c.damage(t, log)
			r := open(t, log, boardMachine("job"), sitelog.Options{})
			_, err := r.Do(t.Context(), site, add("req-0004", "drill"))
			expectDamage(t, err, c.sequence, c.reason)
			if _, err := r.Do(t.Context(), "harbour", add("req-0005", "drill")); err != nil {
				t.Errorf("another site is held up: %v", err)
			}
			if got := commitsOf(t, log); got > 3 {
				t.Errorf("the writer has built on a damaged log: %d records", got)
			}
		})
	}
}

func expectDamage(t *testing.T, err error, sequence uint64, reason string) {
	t.Helper()
	damage, ok := errors.AsType[*sitelog.DamagedError](err)
	if !ok || fault.KindOf(err) != fault.Unavailable || fault.ReasonOf(err) != sitelog.ReasonLogDamaged {
		t.Fatalf("the caller got %v", err)
	}
	if damage.Sequence != sequence || damage.Subject != jobSubject || !strings.Contains(damage.Reason, reason) {
		t.Errorf("the damage is %v, not %q at %d", damage, reason, sequence)
	}
}

func commitsOf(t *testing.T, log sitelog.Log) (n int) {
	t.Helper()
	if err := log.Read(t.Context(), jobSubject, 0, func(sitelog.Record) error { n++; return nil }); err != nil {
		t.Fatal(err)
	}
	return n
}

// A running writer finds damage when it catches up, and when the log ends
// before what was acknowledged.
func TestDamageIsFoundWhileRunning(t *testing.T) {
	t.Run("at a catch-up", func(t *testing.T) {
		log := memory.New()
		first := open(t, log, boardMachine("job"), sitelog.Options{})
		second := open(t, log, boardMachine("job"), sitelog.Options{})
		mustDo(t, first, add("req-0001", "anvil"))
		snapshot(t, second)
		mustDo(t, first, add("req-0002", "bellows"))
		log.Tamper(jobSubject, 2, func(r *sitelog.Record) { alter(t, r, func(c *logv1.Commit) { c.Number = 7 }) })
		_, err := second.View(t.Context(), site, func(*board) error { return nil })
		expectDamage(t, err, 2, "commit 7 where 2 is due")
	})
	t.Run("an acknowledged commit is gone", func(t *testing.T) {
		log := memory.New()
		r := open(t, log, boardMachine("job"), sitelog.Options{})
		mustDo(t, r, add("req-0001", "anvil"))
		mustDo(t, r, add("req-0002", "bellows"))
		log.Remove(jobSubject, 2)
		_, err := r.View(t.Context(), site, func(*board) error { return nil })
		expectDamage(t, err, 2, "ends at sequence 1")
	})
}
