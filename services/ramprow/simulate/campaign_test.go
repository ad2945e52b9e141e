package simulate

import (
	"os"
	"runtime"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"testing"

	"ramprow/internal/platform/simulation"
	"ramprow/internal/platform/sitelog"
)

// seedsByDefault are enough for the race detector to see every service at work;
// the rules are looked for on many more days without it, by 'ramprow simulate'.
// RAMPROW_SIMULATE_SEEDS asks for more here.
const seedsByDefault = 50

func TestNoRuleIsBroken(t *testing.T) {
	seeds := seedsByDefault
	if testing.Short() {
		seeds = 20
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
// logs by content, and what every caller was told. Two of these days are long.
func TestASeedGivesTheSameDay(t *testing.T) {
	for seed := range uint64(longEvery + 1) {
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

// Days must be rich enough to break something: over at most sixty of them every
// part of the business must have happened.
func TestDaysAreFull(t *testing.T) {
	seen := map[string]int{}
	wanted := []string{
		"PartsHeld", "PartsShort", "PartsIssued", "PartsReturned", "HoldReleased", "OrderPlaced", "GoodsReceived",
		"BookingMade", "BookingMoved", "BookingWaits", "BookingPinned", "BookingStarted", "BookingFinished", "ResourceBlocked",
		"StepStarted", "StepPaused", "StepDone", "DesignFound", "PlanRevised", "WorkFinished", "JobCancelled", "InvoiceClosed",
		"SheetOpened", "SheetRevised", "ReadingPosted", "JointProved", "SheetSigned", "SheetCompleted", "SheetVoided",
	}
	missing := func(event string) bool { return seen[event] == 0 }
	days := uint64(0)
	for ; days < 60 && slices.ContainsFunc(wanted, missing); days++ {
		result, err := Day{Seed: days, Steps: 600}.live()
		if err != nil {
			t.Fatal(err)
		}
		count(t, seen, result)
	}
	for _, event := range wanted {
		if missing(event) {
			t.Errorf("no %s on any day", event)
		}
	}
	t.Log(days, "days:", seen)
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
