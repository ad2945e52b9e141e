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

// PagesConfig says how many pages look at which day for how long.
type PagesConfig struct {
	// Program is this program's file: the workshop runs as a process of its own,
	// so that what it needs is told from what the browsers' part needs.
	Program string
	Pages   int
	// Speed is how many times as fast as real time the invented day goes.
	Speed float64
	// Warm lets the day fill, Alone is measured without pages, Duration with them.
	Warm, Alone, Duration time.Duration
	// Progress takes a line for each step; nil for silence.
	Progress io.Writer
}

const (
	mostPages     = 900 // the desk itself refuses the thousand and first
	mostPageSpeed = 600
)

func (c PagesConfig) check() error {
	switch {
	case c.Pages < 1 || c.Pages > mostPages:
		return fmt.Errorf("the pages are 1 to %d", mostPages)
	case c.Speed < 1 || c.Speed > mostPageSpeed:
		return fmt.Errorf("the speed is 1 to %d", mostPageSpeed)
	case c.Warm < 0 || c.Alone <= 0 || c.Duration <= 0:
		return errors.New("the times cannot be negative, and what is measured needs one above zero")
	}
	return nil
}

func (c PagesConfig) say(format string, args ...any) {
	if c.Progress != nil {
		_, _ = fmt.Fprintf(c.Progress, format+"\n", args...) // nobody may be looking
	}
}

// PagesReport is what open pages cost, and how late they are.
type PagesReport struct {
	Pages      int     `json:"pages"`
	Speed      float64 `json:"speed"`
	Seconds    float64 `json:"seconds"`
	Processors int     `json:"processors"`
	// Alone is the workshop with its living day and no page open, Open with all of them.
	Alone Load `json:"alone"`
	Open  Load `json:"open"`
	// Clients is the processor time of the pages' other end, in this process.
	Clients float64 `json:"clients_processors"`
	// Events that pages were told, and pages that were made anew, each second.
	Events    float64 `json:"events_per_second"`
	Refreshes float64 `json:"refreshes_per_second"`
	// Probes are commands whose way to every page that follows them was timed.
	Probes int `json:"probes"`
	// Missed counts pages that were never told of a probe.
	Missed int `json:"missed"`
	// Told is from a command's answer to the event at a page, Shown to the page that holds it.
	Told  Delays        `json:"told"`
	Shown Delays        `json:"shown"`
	Kinds []PageFigures `json:"kinds"`
}

// Load of the workshop's process.
type Load struct {
	// Processors in use: 1 is all of one.
	Processors float64 `json:"processors"`
	ResidentMB float64 `json:"resident_mb"`
	PeakMB     float64 `json:"peak_mb"`
}

// Delays in milliseconds.
type Delays struct {
	Count int     `json:"count"`
	P50   float64 `json:"p50_ms"`
	P95   float64 `json:"p95_ms"`
	P99   float64 `json:"p99_ms"`
}

// PageFigures are those of one kind of page.
type PageFigures struct {
	Kind      string `json:"kind"`
	Open      int    `json:"open"`
	MostBytes int    `json:"most_bytes"`
	First     Delays `json:"first_view"`
	Refreshed Delays `json:"refresh"`
}

// RunPages opens pages on a living day and measures what that costs.
func RunPages(ctx context.Context, c PagesConfig) (_ *PagesReport, err error) {
	if err := c.check(); err != nil {
		return nil, err
	}
	dir, err := os.MkdirTemp("", "ramprow-pages-")
	if err != nil {
		return nil, fmt.Errorf("make a temporary folder: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	c.say("an invented day begins in a process of its own")
	h, err := openHouse(ctx, c, dir)
	if err != nil {
		return nil, stopped(ctx, err)
	}
	defer func() { err = errors.Join(err, h.close()) }()
	if err := rest(ctx, c.Warm); err != nil {
		return nil, err
	}
	report := &PagesReport{Pages: c.Pages, Speed: c.Speed, Processors: runtime.NumCPU()}
	c.say("the workshop alone for %s", c.Alone)
	if report.Alone, err = h.measured(ctx, c.Alone); err != nil {
		return nil, err
	}
	c.say("%d pages open", c.Pages)
	audience, err := openAudience(ctx, h, c.Pages)
	if err != nil {
		return nil, stopped(ctx, err)
	}
	defer audience.close()
	c.say("they look on for %s", c.Duration)
	return report, look(ctx, c, h, audience, report)
}

// look measures while pages are open and probes go out.
func look(ctx context.Context, c PagesConfig, h *house, audience *audience, report *PagesReport) error {
	began, spent := time.Now(), spentSoFar()
	probing, stop := context.WithCancel(ctx)
	probes := make(chan []probe, 1)
	go func() { probes <- h.probe(probing, audience.jobs()) }()
	var err error
	report.Open, err = h.measured(ctx, c.Duration)
	stop()
	sent := <-probes
	if err != nil {
		return err
	}
	if err := rest(ctx, lateProbe); err != nil { // the last of them are on their way
		return err
	}
	elapsed := time.Since(began)
	report.Seconds = elapsed.Seconds()
	report.Clients = spentSoFar().since(spent).CPU.Seconds() / report.Seconds
	audience.close()
	if err := audience.failed(); err != nil {
		return err
	}
	report.Probes = len(sent)
	audience.tell(report, sent, began)
	return nil
}

// lateProbe is how long a page may take to show what happened.
const lateProbe = 3 * time.Second

// rest lets time pass.
func rest(ctx context.Context, length time.Duration) error {
	timer := time.NewTimer(length)
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
