package sitelog_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/memory"
	logv1 "ramprow/proto/ramprow/log/v1"
)

func TestVerifyAWholeLog(t *testing.T) {
	eachLog(t, func(t *testing.T, log sitelog.Log) {
		if v, err := sitelog.Verify(t.Context(), log, jobSubject, nil); err != nil || v.Chain.Number != 0 {
			t.Errorf("an empty log: %+v, %v", v, err)
		}
		r := open(t, log, boardMachine("job"), sitelog.Options{})
		for i := range 50 {
			mustDo(t, r, add(fmt.Sprint("req-", i), fmt.Sprint("word-", i)))
		}
		var done, total uint64
		v, err := sitelog.Verify(t.Context(), log, jobSubject, func(d, all uint64) { done, total = d, all })
		if err != nil || v.Chain.Number != 50 || v.Events != 50 || done != 50 || total != 50 {
			t.Errorf("verified %+v, %v; progress ended at %d of %d", v, err, done, total)
		}
	})
}

// Each damage is found by its first trace, whatever record carries it.
func TestVerifyNamesTheDamage(t *testing.T) {
	const commits = 6
	for _, c := range []struct {
		name   string
		damage func(t *testing.T, log *memory.Log, at uint64)
		trace  uint64 // how far behind the damaged record the first misfit is
		reason string
	}{
		{"a gap", func(_ *testing.T, log *memory.Log, at uint64) { log.Remove(jobSubject, at) }, 1, "where %d is due"},
		{"a change", func(t *testing.T, log *memory.Log, at uint64) {
			log.Tamper(jobSubject, at, func(r *sitelog.Record) {
				alter(t, r, func(c *logv1.Commit) { c.Entries[0].Actor.Person = "eve" })
			})
		}, 1, "does not hold the hash"},
		{"a fork", func(t *testing.T, log *memory.Log, at uint64) {
			log.Tamper(jobSubject, at, func(r *sitelog.Record) {
				alter(t, r, func(c *logv1.Commit) {
					c.PreviousHash = []byte(strings.Repeat("f", 32))
				})
			})
		}, 0, "does not hold the hash"},
		{"rubbish", func(_ *testing.T, log *memory.Log, at uint64) {
			log.Tamper(jobSubject, at, func(r *sitelog.Record) { r.Data = []byte("\xffrubbish") })
		}, 0, "not a commit"},
	} {
		for at := uint64(2); at < commits; at++ {
			t.Run(fmt.Sprint(c.name, " at ", at), func(t *testing.T) {
				log := memory.New()
				r := open(t, log, boardMachine("job"), sitelog.Options{})
				for i := range commits {
					mustDo(t, r, add(fmt.Sprint("req-", i), fmt.Sprint("word-", i)))
				}
				c.damage(t, log, at)
				v, err := sitelog.Verify(t.Context(), log, jobSubject, nil)
				d, ok := errors.AsType[*sitelog.DamagedError](err)
				reason := c.reason
				if strings.Contains(reason, "%d") {
					reason = fmt.Sprintf(reason, at)
				}
				if !ok || d.Sequence != at+c.trace || !strings.Contains(d.Reason, reason) {
					t.Errorf("verify says %v", err)
				}
				if v.Chain.Number > at || v.Chain.Sequence >= d.Sequence {
					t.Errorf("it was good up to %+v", v.Chain)
				}
			})
		}
	}
}

// What a chain cannot prove about its own end, the snapshot knows.
func TestCheckAgainstTheSnapshot(t *testing.T) {
	log, store := memory.New(), &memory.Snapshots{}
	check := func() error { return restoring(log, store).Check(t.Context(), site) }
	if err := check(); err != nil {
		t.Errorf("without a snapshot: %v", err)
	}
	r := open(t, log, keptMachine("job"), sitelog.Options{Snapshots: store})
	mustDo(t, r, add("req-0001", "anvil"))
	mustDo(t, r, add("req-0002", "bellows"))
	r.Close()
	if err := check(); err != nil {
		t.Errorf("a whole log: %v", err)
	}
	log.Remove(jobSubject, 2)
	if _, err := sitelog.Verify(t.Context(), log, jobSubject, nil); err != nil {
		t.Errorf("the rest is whole, and verify says %v", err)
	}
	if d, ok := errors.AsType[*sitelog.DamagedError](check()); !ok || d.Sequence != 2 {
		t.Errorf("the lost end is not noticed: %v", check())
	}
}
