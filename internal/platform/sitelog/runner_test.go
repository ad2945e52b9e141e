package sitelog_test

import (
	"errors"
	"fmt"
	"sync"
	"testing"

	"google.golang.org/protobuf/types/known/wrapperspb"

	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/memory"
)

func TestDoAnswersWhatIsInTheLog(t *testing.T) {
	log := memory.New()
	r := open(t, log, boardMachine("job"), sitelog.Options{})
	out := mustDo(t, r, add("req-0001", "anvil"))
	if got := out.Response.(*wrapperspb.Int64Value).GetValue(); got != 1 || out.Revision != 1 || out.Repeated {
		t.Fatalf("got %+v with response %d", out, got)
	}
	if _, err := r.Do(t.Context(), site, add("req-0002", "anvil")); !errors.Is(err, errThere) {
		t.Fatalf("the refusal came back as %v", err)
	}
	b, commits := folded(t, log, "job")
	if commits != 1 || b.count["anvil"] != 1 {
		t.Fatalf("log holds %d commits, %v", commits, b.count)
	}
}

func TestManyCallersShareCommits(t *testing.T) {
	log := memory.New()
	r := open(t, log, boardMachine("job"), sitelog.Options{})
	const callers, each = 64, 20
	var wg sync.WaitGroup
	for c := range callers {
		wg.Go(func() {
			for i := range each {
				mustDo(t, r, add(fmt.Sprintf("req-%03d-%03d", c, i), fmt.Sprintf("w-%d-%d", c, i)))
			}
		})
	}
	wg.Wait()
	b, commits := folded(t, log, "job")
	if len(b.order) != callers*each || len(b.count) != callers*each {
		t.Fatalf("%d events of %d words", len(b.order), len(b.count))
	}
	t.Logf("%d commands in %d commits", callers*each, commits)
}
