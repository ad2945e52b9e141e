package sitelog_test

import (
	"strings"
	"testing"
	"testing/synctest"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/memory"
	logv1 "ramprow/proto/ramprow/log/v1"
)

var owner = sitelog.Actor{Person: "olga", Roles: []string{"ROLE_OWNER"}}

func release(requestID, id string) sitelog.ReleaseCommand {
	return sitelog.ReleaseCommand{Actor: owner, Request: &logv1.ReleaseParkedRequest{RequestId: requestID, Id: id}}
}

func drop(requestID, id, reason string) sitelog.DropCommand {
	return sitelog.DropCommand{Actor: owner, Request: &logv1.DropParkedRequest{RequestId: requestID, Id: id, Reason: reason}}
}

func parkedIDs(t *testing.T, r *sitelog.Runner[*board]) string {
	t.Helper()
	parked, err := r.Parked(t.Context(), site)
	if err != nil {
		t.Fatal(err)
	}
	var ids []string
	for _, p := range parked {
		ids = append(ids, p.ID)
	}
	return strings.Join(ids, " ")
}

func TestWhatCannotBeHandledIsParkedAndBlocksNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log := memory.New()
		job := open(t, log, boardMachine("job"), sitelog.Options{})
		inventory := open(t, log, boardMachine("inventory", "job"), sitelog.Options{})
		mustDo(t, job, say("before", "bad", "after"))
		mustDo(t, job, say("panic"))
		mustDo(t, job, say("first", "poison", "last"))
		synctest.Wait()
		expectLog(t, log, "inventory", "job:before", "job:after", "job:first", "job:last")
		parked, err := inventory.Parked(t.Context(), site)
		if standing := inventory.Standing(); standing != (sitelog.Standing{Sites: 1, Parked: 3}) {
			t.Errorf("the runner tells of %+v", standing)
		}
		if err != nil || len(parked) != 3 {
			t.Fatalf("parked are %v, %v", parked, err)
		}
		for i, reason := range []string{"not to be handled yet", "cannot react", "this event breaks evolve"} {
			p := parked[i]
			if !strings.Contains(p.Error, reason) || p.Attempts != 1 || p.Service != "job" || p.Event.GetTypeUrl() == "" || p.ParkedAt.IsZero() || p.CommitID == "" {
				t.Errorf("parked %s: %+v", reason, p)
			}
		}
		if got := parkedIDs(t, inventory); got != "job.1.0.1 job.2.0.0 job.3.0.1" {
			t.Errorf("parked are %s", got)
		}
		// A restart forgets nothing and repeats nothing.
		inventory.Close()
		again := open(t, log, boardMachine("inventory", "job"), sitelog.Options{})
		synctest.Wait()
		if got := parkedIDs(t, again); got != "job.1.0.1 job.2.0.0 job.3.0.1" {
			t.Errorf("after the restart parked are %s", got)
		}
		expectLog(t, log, "inventory", "job:before", "job:after", "job:first", "job:last")
	})
}

func TestRelease(t *testing.T) {
	eachLog(t, func(t *testing.T, log sitelog.Log) {
		job := open(t, log, boardMachine("job"), sitelog.Options{})
		inventory := open(t, log, boardMachine("inventory", "job"), sitelog.Options{})
		mustDo(t, job, say("bad"))
		mustDo(t, job, say("good"))
		awaitState(t, inventory, func(b *board) bool { return b.count["job:good"] > 0 })

		out, err := inventory.Release(t.Context(), site, release("rel-0001", "job.1.0.0"))
		if err != nil {
			t.Fatal(err)
		}
		if got := out.Response.(*logv1.ReleaseParkedResponse); got.GetHandled() || got.GetError() != errNotYet.Error() {
			t.Errorf("the release that fails is answered %v", got)
		}
		parked, err := inventory.Parked(t.Context(), site)
		if err != nil || len(parked) != 1 || parked[0].Attempts != 2 {
			t.Errorf("parked are %+v, %v", parked, err)
		}

		mustDo(t, inventory, say("mended"))
		out, err = inventory.Release(t.Context(), site, release("rel-0002", "job.1.0.0"))
		if err != nil || !out.Response.(*logv1.ReleaseParkedResponse).GetHandled() {
			t.Fatalf("the release is answered %v, %v", out.Response, err)
		}
		// The same request once more gets the first answer, although nothing is parked now.
		repeat, err := inventory.Release(t.Context(), site, release("rel-0002", "job.1.0.0"))
		if err != nil || !repeat.Repeated || !repeat.Response.(*logv1.ReleaseParkedResponse).GetHandled() {
			t.Errorf("the repeat is answered %+v, %v", repeat, err)
		}
		if _, err := inventory.Release(t.Context(), site, release("rel-0003", "job.1.0.0")); fault.KindOf(err) != fault.NotFound {
			t.Errorf("a second release gives %v", err)
		}
		expectLog(t, log, "inventory", "job:good", "mended", "job:bad")

		// A release speaks of an old event; the position must not follow it back.
		inventory.Close()
		again := open(t, log, boardMachine("inventory", "job"), sitelog.Options{})
		mustDo(t, job, say("next"))
		awaitState(t, again, func(b *board) bool { return b.count["job:next"] > 0 })
		expectLog(t, log, "inventory", "job:good", "mended", "job:bad", "job:next")
	})
}

func TestDropNeedsAReasonAndKeepsIt(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log := memory.New()
		job := open(t, log, boardMachine("job"), sitelog.Options{})
		inventory := open(t, log, boardMachine("inventory", "job"), sitelog.Options{})
		mustDo(t, job, say("bad"))
		synctest.Wait()
		if _, err := inventory.Drop(t.Context(), site, drop("drop-001", "job.1.0.0", " ")); fault.KindOf(err) != fault.Invalid {
			t.Errorf("a drop without a reason gives %v", err)
		}
		if _, err := inventory.Drop(t.Context(), site, drop("drop-002", "job.1.0.0", "entered twice")); err != nil {
			t.Fatal(err)
		}
		if got := parkedIDs(t, inventory); got != "" {
			t.Errorf("still parked: %s", got)
		}
		var last *logv1.Entry
		readCommits(t, log, "inventory", func(c *logv1.Commit) { last = c.GetEntries()[len(c.GetEntries())-1] })
		parking := last.GetReaction().GetParking()
		if parking.GetOutcome() != logv1.Parking_OUTCOME_DROPPED || parking.GetError() != "entered twice" || last.GetActor().GetPerson() != "olga" {
			t.Errorf("the log says %v", last)
		}
		if _, err := inventory.Drop(t.Context(), site, drop("drop-003", "job.9.9.9", "no such")); fault.KindOf(err) != fault.NotFound {
			t.Errorf("dropping what is not parked gives %v", err)
		}
	})
}

// A foreign record that is no commit is parked whole.
func TestUnreadableForeignCommitIsParked(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		log := memory.New()
		job := sitelog.Subject{Service: "job", Site: site}
		if _, err := log.Append(t.Context(), job, 0, sitelog.Message{Data: []byte("rubbish")}); err != nil {
			t.Fatal(err)
		}
		inventory := open(t, log, boardMachine("inventory", "job"), sitelog.Options{})
		synctest.Wait()
		parked, err := inventory.Parked(t.Context(), site)
		if err != nil || len(parked) != 1 || string(parked[0].Event.GetValue()) != "rubbish" {
			t.Fatalf("parked are %v, %v", parked, err)
		}
		out, err := inventory.Release(t.Context(), site, release("rel-0001", parked[0].ID))
		if err != nil || out.Response.(*logv1.ReleaseParkedResponse).GetHandled() {
			t.Errorf("rubbish was handled: %v, %v", out.Response, err)
		}
	})
}
