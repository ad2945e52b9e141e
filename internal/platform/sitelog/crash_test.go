package sitelog_test

import (
	"fmt"
	"testing"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/memory"
)

// The writer dies after its commit is in the log and before anybody is told.
func TestWriterKilledBetweenPublishAndAnswer(t *testing.T) {
	eachLog(t, func(t *testing.T, inner sitelog.Log) {
		stored, never := make(chan struct{}), make(chan struct{})
		defer close(never)
		log := &meddled{Log: inner, append: func(_ int, pass func() (uint64, error)) (uint64, error) {
			_, _ = pass()
			close(stored)
			<-never
			return 0, errAway
		}}
		doomed := open(t, log, boardMachine("job"), sitelog.Options{})
		told := make(chan error, 1)
		go func() {
			_, err := doomed.Do(t.Context(), site, add("req-0001", "anvil"))
			told <- err
		}()
		<-stored
		doomed.Abandon()
		if err := <-told; fault.KindOf(err) != fault.Unavailable {
			t.Errorf("the caller got %v", err)
		}

		r := open(t, inner, boardMachine("job"), sitelog.Options{})
		if out := mustDo(t, r, add("req-0001", "anvil")); !out.Repeated {
			t.Errorf("the command was done again: %+v", out)
		}
		expectLog(t, inner, "job", "anvil")
	})
}

func TestRestartOnTheSameFolder(t *testing.T) {
	dir := t.TempDir()
	log, stop := serve(t, dir)
	r, err := sitelog.Open(t.Context(), log, boardMachine("job"), sitelog.Options{})
	if err != nil {
		t.Fatal(err)
	}
	var first sitelog.Outcome
	for i := range 100 {
		first = mustDo(t, r, add(fmt.Sprintf("req-%04d", i), fmt.Sprint("word", i)))
	}
	before := snapshot(t, r)
	r.Close()
	stop()

	log, stop = serve(t, dir)
	defer stop()
	again := open(t, log, boardMachine("job"), sitelog.Options{})
	defer again.Close()
	after := snapshot(t, again)
	if fmt.Sprint(after.order) != fmt.Sprint(before.order) || fmt.Sprint(after.times) != fmt.Sprint(before.times) {
		t.Errorf("%d words before the restart, %d after it", len(before.order), len(after.order))
	}
	repeat := mustDo(t, again, add("req-0099", "word99"))
	if !repeat.Repeated || repeat.Revision != first.Revision || !repeat.CommittedAt.Equal(first.CommittedAt) || !proto.Equal(repeat.Response, first.Response) {
		t.Errorf("the first answer was %+v, its repeat after the restart %+v", first, repeat)
	}
	d, err := again.Describe(t.Context(), site)
	if err != nil || d.Revision != 100 || d.Commits != 100 || d.Parked != 0 {
		t.Errorf("described as %+v, %v", d, err)
	}
}

func TestCloseFinishesWhatWaits(t *testing.T) {
	log := memory.New()
	r := open(t, log, boardMachine("job"), sitelog.Options{})
	const n = 50
	answers := make(chan error, n)
	for i := range n {
		go func() {
			_, err := r.Do(t.Context(), site, add(fmt.Sprintf("req-%04d", i), fmt.Sprint("word", i)))
			answers <- err
		}()
	}
	r.Close()
	answered := 0
	for range n {
		if err := <-answers; err == nil {
			answered++
		} else if fault.KindOf(err) != fault.Unavailable {
			t.Errorf("a caller got %v", err)
		}
	}
	if b, _ := folded(t, log, "job"); len(b.order) != answered {
		t.Errorf("%d were answered, the log holds %d", answered, len(b.order))
	}
	if _, err := r.View(t.Context(), site, func(*board) error { return nil }); fault.ReasonOf(err) != sitelog.ReasonShuttingDown {
		t.Errorf("a view after Close gives %v", err)
	}
	r.Close()
}
