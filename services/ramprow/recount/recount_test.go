package recount_test

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/sitelog"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	"ramprow/services/inventory"
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
	compareStock(t, seed, logs, records)
	state := fold(t, job.Machine(), records)
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

// compareStock asks how stock turned on one day, on all of them, and until the middle of something.
func compareStock(t *testing.T, seed uint64, logs invariants.Logs, records []sitelog.Record) {
	t.Helper()
	state := fold(t, inventory.Machine(), records)
	last := logs["inventory"][len(logs["inventory"])-1].GetTime().AsTime()
	first := logs["inventory"][0].GetTime().AsTime()
	used := int64(0)
	for _, from := range []time.Time{first.Truncate(24 * time.Hour), last.Truncate(24 * time.Hour), first.Add(last.Sub(first) / 3)} {
		for _, to := range []time.Time{last.Add(time.Hour), last, first.Add(last.Sub(first) / 2)} {
			now := last.Add(time.Minute)
			if !from.Before(to) {
				continue
			}
			got, err := state.StockTurn(&inventoryv1.GetStockTurnRequest{When: &commonv1.Interval{Start: timestamppb.New(from), End: timestamppb.New(to)}}, now)
			if err != nil {
				t.Fatal(err)
			}
			for _, part := range got.GetParts() {
				part.Title = ""
				used += part.GetIssued().GetMinorUnits()
			}
			if diff := cmp.Diff(recount.StockTurn(logs, from, to, now), got, protocmp.Transform()); diff != "" {
				t.Fatalf("seed %d from %v to %v (-counted +answered):\n%s", seed, from, to, diff)
			}
		}
	}
	if used == 0 {
		t.Errorf("seed %d: no job used a part of known cost", seed)
	}
}

// fold makes a service's state from its log.
func fold[S any](t *testing.T, machine sitelog.Machine[S], records []sitelog.Record) S {
	t.Helper()
	var state S
	begun := false
	for _, r := range records {
		if r.Subject.Service != machine.Service {
			continue
		}
		if !begun {
			state, begun = machine.New(r.Subject.Site), true
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
