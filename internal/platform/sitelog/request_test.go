package sitelog_test

import (
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/wrapperspb"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/memory"
)

func TestRepeatedRequestGetsTheFirstAnswer(t *testing.T) {
	eachLog(t, func(t *testing.T, log sitelog.Log) {
		r := open(t, log, boardMachine("job"), sitelog.Options{})
		mustDo(t, r, add("req-0001", "anvil"))
		first := mustDo(t, r, add("req-0002", "bellows"))
		mustDo(t, r, add("req-0003", "clamp"))
		again := mustDo(t, r, add("req-0002", "bellows"))
		if !again.Repeated || again.Revision != first.Revision || !again.CommittedAt.Equal(first.CommittedAt) || !proto.Equal(again.Response, first.Response) {
			t.Errorf("first %+v, then %+v", first, again)
		}
		if _, err := r.Do(t.Context(), site, add("req-0002", "drill")); fault.KindOf(err) != fault.Precondition || fault.ReasonOf(err) != sitelog.ReasonReused {
			t.Errorf("the same id for another request gives %v", err)
		}
		expectLog(t, log, "job", "anvil", "bellows", "clamp")
	})
}

// A refusal is not remembered: the same request may go through later.
func TestRefusedRequestMayTryAgain(t *testing.T) {
	log := memory.New()
	r := open(t, log, boardMachine("job"), sitelog.Options{})
	c := add("req-0001", "anvil")
	decide := c.Decide
	c.Decide = func(b *board, in sitelog.Input) (sitelog.Decision, error) {
		if b.count["bellows"] == 0 {
			return sitelog.Decision{}, errNotYet
		}
		return decide(b, in)
	}
	if _, err := r.Do(t.Context(), site, c); err == nil {
		t.Fatal("it went through too early")
	}
	mustDo(t, r, add("req-0002", "bellows"))
	if out := mustDo(t, r, c); out.Repeated {
		t.Errorf("answered %+v", out)
	}
}

// The same request while the first is under way waits for its answer.
func TestDuplicateJoinsTheFirst(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		inner := memory.New()
		log, letGo := held(inner)
		r := open(t, log, boardMachine("job"), sitelog.Options{})
		outcomes, answers := make([]sitelog.Outcome, 3), make([]int64, 3)
		var wg sync.WaitGroup
		for i := range outcomes {
			wg.Go(func() {
				outcomes[i] = mustDo(t, r, add("req-0001", "anvil"))
				// An answer is its caller's own: it may be changed at once.
				response := outcomes[i].Response.(*wrapperspb.Int64Value)
				answers[i], response.Value = response.GetValue(), -1
			})
			synctest.Wait()
		}
		if _, err := r.Do(t.Context(), site, add("req-0001", "bellows")); fault.ReasonOf(err) != sitelog.ReasonReused {
			t.Errorf("another request under the id that is under way gives %v", err)
		}
		letGo()
		wg.Wait()
		for i, out := range outcomes {
			if out.Repeated != (i > 0) || out.Revision != 1 || answers[i] != 1 {
				t.Errorf("caller %d got %+v", i, out)
			}
		}
		expectLog(t, inner, "job", "anvil")
	})
}

// Both replicas get the same request at once.
func TestDuplicateAtAnotherWriter(t *testing.T) {
	eachLog(t, func(t *testing.T, log sitelog.Log) {
		one := open(t, log, boardMachine("job"), sitelog.Options{})
		two := open(t, log, boardMachine("job"), sitelog.Options{})
		for i := range 20 {
			id := "req-" + strings.Repeat("x", 4+i)
			repeated := make([]bool, 2)
			var wg sync.WaitGroup
			for j, r := range []*sitelog.Runner[*board]{one, two} {
				wg.Go(func() { repeated[j] = mustDo(t, r, add(id, id)).Repeated })
			}
			wg.Wait()
			if repeated[0] == repeated[1] {
				t.Errorf("round %d: repeated are %v", i, repeated)
			}
		}
	})
}

func TestRequestsAreRememberedThirtyDays(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log := memory.New()
		r := open(t, log, boardMachine("job"), sitelog.Options{})
		mustDo(t, r, say("a")) // an id is not needed
		c := say("b")
		c.RequestID = "req-0001"
		mustDo(t, r, c)
		pass(sitelog.RequestMemory)
		mustDo(t, r, say("tick"))
		if !mustDo(t, r, c).Repeated {
			t.Error("forgotten within thirty days")
		}
		pass(time.Second)
		mustDo(t, r, say("tick"))
		if mustDo(t, r, c).Repeated {
			t.Error("remembered for longer than stated")
		}
	})
}

func TestMalformedCallsAreRefused(t *testing.T) {
	r := open(t, memory.New(), boardMachine("job"), sitelog.Options{})
	for name, c := range map[string]sitelog.Command[*board]{
		"a long request_id":     add(strings.Repeat("x", 65), "anvil"),
		"a request_id no text":  add("\xff\xfe", "anvil"),
		"a call without method": {Decide: add("", "anvil").Decide},
	} {
		if _, err := r.Do(t.Context(), site, c); fault.KindOf(err) != fault.Invalid {
			t.Errorf("%s gives %v", name, err)
		}
	}
	for _, bad := range []string{"", "a.b", "a b", "*", ">", strings.Repeat("x", 65)} {
		if _, err := r.Do(t.Context(), bad, add("", "anvil")); fault.ReasonOf(err) != sitelog.ReasonBadSite {
			t.Errorf("site %q gives %v", bad, err)
		}
	}
}
