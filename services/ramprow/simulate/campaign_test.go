package simulate

import (
	"os"
	"runtime"
	"runtime/debug"
	"strconv"
	"strings"
	"testing"

	"ramprow/internal/platform/simulation"
	"ramprow/internal/platform/sitelog"
)

// seedsByDefault fit into about a minute of two busy cores. RAMPROW_SIMULATE_SEEDS
// asks for more; so does 'ramprow simulate --seeds'.
const seedsByDefault = 150

func TestNoRuleIsBroken(t *testing.T) {
	seeds := seedsByDefault
	if testing.Short() {
		seeds = 40
	}
	if asked := os.Getenv("RAMPROW_SIMULATE_SEEDS"); asked != "" {
		n, err := strconv.Atoi(asked)
		if err != nil {
			t.Fatal(err)
		}
		seeds = n
	}
	defer debug.SetGCPercent(debug.SetGCPercent(400)) // days are short and leave nothing behind
	days, answered := 0, 0
	campaign := Campaign{Seeds: seeds, Workers: runtime.GOMAXPROCS(0), Each: func(v Verdict) bool {
		days, answered = days+1, answered+v.Answered
		for _, violation := range v.Violations {
			t.Errorf("seed %d of %d steps: %v", v.Day.Seed, v.Day.Steps, violation)
		}
		return len(v.Violations) == 0
	}}
	if err := campaign.Run(t.Context()); err != nil {
		t.Fatal(err)
	}
	if days < seeds && !t.Failed() || answered < 10*days {
		t.Errorf("only %d of %d days, %d answers", days, seeds, answered)
	}
}

// A seed must give the same day each time, whatever else the machine does: the
// logs by content, and what every caller was told.
func TestASeedGivesTheSameDay(t *testing.T) {
	for seed := range uint64(24) {
		day := Day{Seed: seed, Steps: StepsOf(seed)}
		first, err := day.live()
		if err != nil {
			t.Fatal(err)
		}
		second, err := day.live()
		if err != nil {
			t.Fatal(err)
		}
		if a, b := strings.Join(first.Transcript, "\n"), strings.Join(second.Transcript, "\n"); a != b {
			t.Errorf("seed %d went two ways:\n%s\n\n%s", seed, a, b)
		}
		a, err := simulation.Digest(first.Records)
		if err != nil {
			t.Fatal(err)
		}
		b, err := simulation.Digest(second.Records)
		if err != nil {
			t.Fatal(err)
		}
		if a != b {
			t.Errorf("seed %d left two different logs", seed)
		}
	}
}

// Days must be rich enough to break something: over a few of them every part of
// the business must have happened.
func TestDaysAreFull(t *testing.T) {
	seen := map[string]int{}
	for seed := range uint64(60) {
		result, err := Day{Seed: seed, Steps: 600}.live()
		if err != nil {
			t.Fatal(err)
		}
		count(t, seen, result)
	}
	for _, event := range []string{
		"PartsHeld", "PartsShort", "PartsIssued", "PartsReturned", "HoldReleased", "OrderPlaced", "GoodsReceived",
		"BookingMade", "BookingMoved", "BookingWaits", "BookingPinned", "BookingStarted", "BookingFinished", "ResourceBlocked",
		"StepStarted", "StepPaused", "StepDone", "DesignFound", "PlanRevised", "WorkFinished", "JobCancelled", "InvoiceClosed",
		"SheetOpened", "SheetRevised", "ReadingPosted", "JointProved", "SheetSigned", "SheetCompleted", "SheetVoided",
	} {
		if seen[event] == 0 {
			t.Errorf("no %s on any day", event)
		}
	}
	t.Log(seen)
}

func count(t *testing.T, seen map[string]int, result simulation.Result) {
	t.Helper()
	for _, r := range result.Records {
		events, err := sitelog.EventsOf(r)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range events {
			seen[string(e.Message.ProtoReflect().Descriptor().Name())]++
		}
	}
}
