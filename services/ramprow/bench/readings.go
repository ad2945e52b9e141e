package bench

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime"
	"time"
)

// ReadingsConfig says how many people tighten at once, how many tools send their
// curves, and for how long.
type ReadingsConfig struct {
	Callers int
	// Tools send curves at once.
	Tools int
	// Samples of one curve; a tool that measures 10,000 times a second takes
	// 20,000 of them in two seconds.
	Samples int
	// Duration of each leg of a round.
	Duration time.Duration
	Rounds   int
	// Progress takes a line for each step; nil for silence.
	Progress io.Writer
}

// Limits of a run.
const (
	mostTools   = 32      // the service takes no more curves at once
	mostSamples = 200_000 // and no longer ones
	// mostDuration of a leg: the bolts of a leg are in the state before it begins.
	mostDuration = 10 * time.Second
	// samplesASecond is what one tool measures.
	samplesASecond = 10_000
)

func (c ReadingsConfig) check() error {
	switch {
	case c.Callers < 1 || c.Callers > maxCallers:
		return fmt.Errorf("the callers are 1 to %d", maxCallers)
	case c.Tools < 1 || c.Tools > mostTools:
		return fmt.Errorf("the tools are 1 to %d", mostTools)
	case c.Samples < 100 || c.Samples > mostSamples:
		return fmt.Errorf("the samples of a curve are 100 to %d", mostSamples)
	case c.Duration <= 0 || c.Duration > mostDuration:
		return fmt.Errorf("the duration of a leg is above zero and at most %s", mostDuration)
	case c.Rounds < 1 || c.Rounds > maxRounds:
		return fmt.Errorf("the rounds are 1 to %d", maxRounds)
	}
	return nil
}

func (c ReadingsConfig) say(format string, args ...any) {
	if c.Progress != nil {
		_, _ = fmt.Fprintf(c.Progress, format+"\n", args...) // nobody may be looking
	}
}

// ReadingsReport is what was measured; latencies in milliseconds.
type ReadingsReport struct {
	Processors   int     `json:"processors"`
	Callers      int     `json:"callers"`
	Tools        int     `json:"tools"`
	Samples      int     `json:"samples_per_curve"`
	Rounds       int     `json:"rounds"`
	RoundSeconds float64 `json:"round_seconds"`
	PayloadBytes int     `json:"broker_payload_bytes"`
	// Readings judged and synced, and the broker's messages from as many callers.
	Readings Figures `json:"readings"`
	Broker   Figures `json:"broker"`
	// TimesBroker is the readings' rate as a multiple of the broker's.
	TimesBroker float64 `json:"times_broker"`
	// Curves analysed and kept, and such as are only received.
	Curves        Figures `json:"curves"`
	Received      Figures `json:"curves_received"`
	CurveSamples  float64 `json:"curve_samples_per_second"`
	OfReceived    float64 `json:"of_curves_received"`
	ToolsAtOnce   float64 `json:"tools_of_10000_samples_per_second"`
	ReadingsInLog Counted `json:"readings_in_log"`
	CurvesInLog   Counted `json:"curves_in_log"`
}

// RunReadings measures readings to disk beside the broker alone, and curves
// that are analysed and kept beside such as are only received.
func RunReadings(ctx context.Context, c ReadingsConfig) (_ *ReadingsReport, err error) {
	if err := c.check(); err != nil {
		return nil, err
	}
	dir, err := os.MkdirTemp("", "ramprow-readings-")
	if err != nil {
		return nil, fmt.Errorf("make a temporary folder: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	s, err := openAudit(ctx, dir)
	if err != nil {
		return nil, stopped(ctx, err)
	}
	defer func() { err = errors.Join(err, s.close()) }()
	report, err := measureReadings(ctx, c, s)
	if err != nil {
		return nil, stopped(ctx, err)
	}
	return report, nil
}

func measureReadings(ctx context.Context, c ReadingsConfig, s *audit) (_ *ReadingsReport, err error) {
	t, err := newTightening(ctx, c, s)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, t.raw.Close(context.WithoutCancel(ctx))) }()
	rounds, err := t.measure(ctx)
	if err != nil {
		return nil, err
	}
	report := &ReadingsReport{
		Processors: runtime.NumCPU(), Callers: c.Callers, Tools: c.Tools, Samples: c.Samples,
		Rounds: c.Rounds, RoundSeconds: c.Duration.Seconds(), PayloadBytes: t.payload,
		Readings: tighteningFigures(rounds, readingsLeg), Broker: tighteningFigures(rounds, readingsBrokerLeg),
		TimesBroker: tighteningRatio(rounds, readingsLeg, readingsBrokerLeg),
		Curves:      tighteningFigures(rounds, curvesLeg), Received: tighteningFigures(rounds, receivedLeg),
		OfReceived: tighteningRatio(rounds, curvesLeg, receivedLeg),
	}
	report.CurveSamples = report.Curves.PerSecond * float64(c.Samples)
	report.ToolsAtOnce = report.CurveSamples / samplesASecond
	report.ReadingsInLog, report.CurvesInLog, err = t.count(ctx)
	return report, err
}
