package recount_test

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	"ramprow/internal/platform/sitelog"
	jobv1 "ramprow/proto/ramprow/job/v1"
	"ramprow/services/job"
	"ramprow/services/ramprow/recount"
	"ramprow/services/ramprow/simulate"
	"ramprow/services/ramprow/simulate/invariants"
)

// Over simulated days with all that can go wrong in them, every figure is what counting by hand gives.
func TestFiguresAreWhatTheLogsSay(t *testing.T) {
	closed := uint32(0)
	for seed := range uint64(8) {
		records, err := simulate.Day{Seed: seed, Steps: 600}.Records()
		if err != nil {
			t.Fatal(err)
		}
		closed += compare(t, seed, records)
	}
	if closed == 0 {
		t.Errorf("no job was closed on all these days")
	}
}

// compare asks at three moments, for one day and for all of them.
func compare(t *testing.T, seed uint64, records []sitelog.Record) uint32 {
	t.Helper()
	logs, err := invariants.Read(records)
	if err != nil {
		t.Fatal(err)
	}
	state := fold(t, records)
	last := logs["job"][len(logs["job"])-1].GetTime().AsTime()
	first := logs["job"][0].GetTime().AsTime().Truncate(24 * time.Hour)
	closed := uint32(0)
	for _, now := range []time.Time{last.Add(time.Minute), last.Add(50 * time.Hour)} {
		for _, from := range []time.Time{first, last.Truncate(24 * time.Hour)} {
			to := last.Truncate(24 * time.Hour).Add(24 * time.Hour)
			got, err := state.Figures(&jobv1.GetFiguresRequest{From: from.Format(time.DateOnly), To: to.Format(time.DateOnly)}, now)
			if err != nil {
				t.Fatal(err)
			}
			if got.GetLittle().GetResidual().AsDuration() != 0 {
				t.Errorf("seed %d: the two sides of Little's law differ by %v", seed, got.GetLittle().GetResidual().AsDuration())
			}
			closed = max(closed, got.GetClosed())
			got.Promises.Low, got.Promises.High = 0, 0 // a formula's, tested where it is
			for _, s := range got.GetStations() {
				s.Expected = nil
			}
			want := recount.Figures(logs, from, to.Add(24*time.Hour), now)
			if diff := cmp.Diff(want, got, protocmp.Transform()); diff != "" {
				t.Fatalf("seed %d from %v (-counted +answered):\n%s", seed, from, diff)
			}
		}
	}
	return closed
}

// fold makes the job service's state from its log.
func fold(t *testing.T, records []sitelog.Record) *job.State {
	t.Helper()
	machine := job.Machine()
	var state *job.State
	for _, r := range records {
		if r.Subject.Service != machine.Service {
			continue
		}
		if state == nil {
			state = machine.New(r.Subject.Site)
		}
		events, err := sitelog.EventsOf(r)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range events {
			machine.Evolve(state, e)
		}
	}
	return state
}
