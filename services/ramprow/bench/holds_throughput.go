package bench

import (
	"context"
	"crypto/rand"
	"fmt"
	"sync/atomic"

	"ramprow/internal/platform/fault"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// rush is how many different parts the callers of a leg want.
type rush struct {
	what  string
	parts int
	gone  bool // there is nothing left of it: every hold is refused
}

// plenty never runs out during a measurement.
const plenty = 1_000_000_000

// holdsThroughput measures one hold of one piece by each caller again and again,
// each for a new job, beside the broker alone: spread over many parts, over few,
// over one, and over one of which there is nothing.
func holdsThroughput(ctx context.Context, c HoldsConfig, s *outpost) (_ []HoldsSpeed, err error) {
	ctx, err = s.as(ctx, "speed")
	if err != nil {
		return nil, err
	}
	rushes := []rush{
		{what: fmt.Sprintf("holds, %d parts", c.Callers), parts: c.Callers},
		{what: fmt.Sprintf("holds, %d parts", c.Parts), parts: c.Parts},
		{what: "holds, everybody wants one part", parts: 1},
		{what: "refused: nothing left of that part", parts: 1, gone: true},
	}
	for n := range max(c.Callers, c.Parts) {
		if err := s.shelve(ctx, speedPart(n), plenty); err != nil {
			return nil, err
		}
	}
	if err := s.shelve(ctx, "SPEED-GONE", 0); err != nil {
		return nil, err
	}
	raw, err := s.log.NewRawPublisher(ctx, holdCommitBytes)
	if err != nil {
		return nil, err
	}
	defer func() { _ = raw.Close(context.WithoutCancel(ctx)) }() // its folder goes with the run
	rounds := make([]map[string]Sample, speedRounds)
	var jobs atomic.Int64
	for n := range rounds {
		rounds[n] = map[string]Sample{}
		alone, err := load(ctx, c.Callers, c.Duration, task{do: func(ctx context.Context, _ int) error { return raw.Publish(ctx) }})
		if err != nil {
			return nil, err
		}
		rounds[n][brokerLeg] = alone
		for i := range rushes {
			rush := rushes[(i+n)%len(rushes)]
			sample, err := load(ctx, c.Callers, c.Duration, task{do: func(ctx context.Context, caller int) error {
				return s.holdOne(ctx, rush, caller, jobs.Add(1))
			}})
			if err != nil {
				return nil, err
			}
			rounds[n][rush.what] = sample
			c.say("round %d of %d, %s: %.0f/s beside the broker's %.0f/s", n+1, speedRounds, rush.what, sample.Rate(), alone.Rate())
		}
	}
	speeds := []HoldsSpeed{speedOf(rounds, brokerLeg)}
	for _, rush := range rushes {
		speeds = append(speeds, speedOf(rounds, rush.what))
	}
	return speeds, nil
}

const (
	speedRounds = 3
	brokerLeg   = "the broker alone"
	// holdCommitBytes is about the size of a commit with one hold.
	holdCommitBytes = 900
)

func speedPart(n int) string { return fmt.Sprintf("SPEED-%03d", n) }

// shelve lists a part and puts a quantity on the shelf.
func (s *outpost) shelve(ctx context.Context, number string, pieces int64) error {
	part := &inventoryv1.Part{Number: number, Title: "Part for measuring", Unit: commonv1.Unit_UNIT_PIECE}
	if _, err := s.inventory.SetPart(ctx, &inventoryv1.SetPartRequest{RequestId: rand.Text(), Part: part}); err != nil {
		return fmt.Errorf("list %s: %w", number, err)
	}
	if pieces == 0 {
		return nil
	}
	lines := []*inventoryv1.ReceivedLine{{Part: number, Quantity: pieces}}
	if _, err := s.inventory.ReceiveGoods(ctx, &inventoryv1.ReceiveGoodsRequest{RequestId: rand.Text(), Lines: lines}); err != nil {
		return fmt.Errorf("receive %s: %w", number, err)
	}
	return nil
}

// holdOne holds a piece for a job, or is refused where nothing is left.
func (s *outpost) holdOne(ctx context.Context, c rush, caller int, job int64) error {
	number := speedPart(caller % c.parts)
	if c.gone {
		number = "SPEED-GONE"
	}
	_, err := s.inventory.HoldParts(ctx, &inventoryv1.HoldPartsRequest{
		RequestId: rand.Text(), Job: fmt.Sprintf("jobs/%d", job), Lines: []*inventoryv1.WantedPart{{Part: number, Quantity: 1}},
	})
	if c.gone && fault.ReasonOf(err) == "PARTS_SHORT" {
		return nil
	}
	if c.gone && err == nil {
		return fmt.Errorf("%s was held, and there is nothing of it", number)
	}
	return err
}

func speedOf(rounds []map[string]Sample, what string) HoldsSpeed {
	median := func(figure func(map[string]Sample) float64) float64 {
		var values []float64
		for _, r := range rounds {
			values = append(values, figure(r))
		}
		return Median(values)
	}
	at := func(p float64) float64 {
		return median(func(r map[string]Sample) float64 { return millis(Percentile(r[what].Latencies, p)) })
	}
	return HoldsSpeed{
		What: what,
		Figures: Figures{
			PerSecond: median(func(r map[string]Sample) float64 { return r[what].Rate() }),
			P50:       at(50), P95: at(95), P99: at(99),
		},
		TimesBroker: median(func(r map[string]Sample) float64 {
			if r[brokerLeg].Rate() == 0 {
				return 0
			}
			return r[what].Rate() / r[brokerLeg].Rate()
		}),
	}
}
