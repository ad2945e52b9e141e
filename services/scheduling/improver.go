package scheduling

import (
	"context"
	"fmt"
	"log/slog"
	"math"
	"reflect"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/codes"
	"go.opentelemetry.io/otel/trace"

	"ramprow/internal/engine/planner"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/telemetry"
)

const (
	// improving names what an Improver hands in, in the log and in traces.
	improving = "improvement"
	// restShare is how much longer an Improver rests than it works, within a search and after it:
	// it takes a quarter of one core at most.
	restShare = 3
)

// ImproverConfig says how much is done beside the writer.
type ImproverConfig struct {
	// For is how long one search takes at most, its rests included.
	For time.Duration
	// Rounds bounds a search too; zero: For alone does.
	Rounds int
	// Now is the clock that the site lives by. How long a search takes is measured by the
	// machine's own.
	Now            func() time.Time
	Logger         *slog.Logger
	TracerProvider trace.TracerProvider
}

// Improver looks for better plans beside the writers, at the sites whose reactions are this
// process's: so there is one at work per site however many replicas run, and another
// takes over with the lease. What it finds it hands in as a command, which is decided
// on the state as it is by then.
type Improver struct {
	runner *sitelog.Runner[*State]
	c      ImproverConfig
	tracer trace.Tracer

	mu      sync.Mutex
	waiting []string // sites whose plan may be improved, the longest waiting first
	wake    chan struct{}
	// done are the problems that were searched to the end; whatever is the same again
	// needs no search. Only Run's goroutine looks.
	done map[string]planner.Problem

	counts Improvements
}

// Improvements are what an Improver has done since it began.
type Improvements struct {
	// Runs are searches; of the plans that they found some were Adopted, and some Refused because
	// something had changed.
	Runs, Adopted, Refused atomic.Int64
	// Saved is in weighted minutes, of what was adopted.
	Saved atomic.Int64
}

// NewImprover makes an improver that hears of the sites of a runner.
func NewImprover(runner *sitelog.Runner[*State], c ImproverConfig) *Improver {
	i := &Improver{
		runner: runner, c: c, tracer: c.TracerProvider.Tracer("ramprow/services/scheduling"),
		wake: make(chan struct{}, 1), done: map[string]planner.Problem{},
	}
	if c.Rounds == 0 {
		i.c.Rounds = math.MaxInt
	}
	runner.OnMove(i.note)
	return i
}

// Counts gives what was done so far.
func (i *Improver) Counts() *Improvements { return &i.counts }

// note lines a site up.
func (i *Improver) note(site string) {
	i.mu.Lock()
	defer i.mu.Unlock()
	if !slices.Contains(i.waiting, site) {
		i.waiting = append(i.waiting, site)
	}
	select {
	case i.wake <- struct{}{}:
	default: // it is awake
	}
}

// next takes the site that waits longest.
func (i *Improver) next(ctx context.Context) (string, error) {
	for {
		i.mu.Lock()
		if len(i.waiting) > 0 {
			site := i.waiting[0]
			i.waiting = i.waiting[1:]
			i.mu.Unlock()
			return site, nil
		}
		i.mu.Unlock()
		select {
		case <-i.wake:
		case <-ctx.Done():
			return "", ctx.Err()
		}
	}
}

// Run searches until ctx ends, one site after the other.
func (i *Improver) Run(ctx context.Context) error {
	for {
		site, err := i.next(ctx)
		if err != nil {
			return err
		}
		began := time.Now()
		if _, err := i.Improve(ctx, site); err != nil && ctx.Err() == nil {
			i.c.Logger.Warn("a plan could not be improved; trying again when it changes", "site", site, "error", err)
		}
		rest(ctx, restShare*time.Since(began))
	}
}

// rest lets others work for a while.
func rest(ctx context.Context, pause time.Duration) {
	timer := time.NewTimer(pause)
	defer timer.Stop()
	select {
	case <-timer.C:
	case <-ctx.Done():
	}
}

// Improve searches once for a better plan of a site, if its plan is not the one that was
// searched last, and hands in what it finds. It tells whether that was adopted.
func (i *Improver) Improve(ctx context.Context, site string) (adopted bool, err error) {
	if !i.runner.Active(site) {
		return false, nil
	}
	var st *State
	revision, err := i.runner.View(ctx, site, func(state *State) error { st = state.fork(); return nil })
	if err != nil {
		return false, err
	}
	// As it was at the day's beginning: that time passes makes no plan better by itself.
	problem := st.problem(i.c.Now().Truncate(24*time.Hour), order{})
	if reflect.DeepEqual(problem, i.done[site]) {
		return false, nil
	}
	ctx, span := i.tracer.Start(ctx, "improve the plan", trace.WithAttributes(
		attribute.String(telemetry.AttributeService, Service), attribute.String(telemetry.AttributeSite, site),
		attribute.Int64("ramprow.revision", int64(revision)), //nolint:gosec // far below the limit
	))
	defer func() {
		if err != nil {
			span.SetStatus(codes.Error, err.Error())
		}
		span.End()
	}()
	i.counts.Runs.Add(1)
	search := i.newSearch(ctx, site, revision)
	found, err := st.lookFor(i.c.Now(), search.o)
	if err != nil {
		return false, fmt.Errorf("look for a better plan: %w", err)
	}
	if !search.disturbed {
		i.done[site] = problem
	}
	span.SetAttributes(attribute.Int("ramprow.rounds", search.rounds))
	if found == nil || !i.runner.Active(site) {
		return false, nil
	}
	saved, err := i.handIn(ctx, site, found)
	span.SetAttributes(attribute.Float64("ramprow.saves", saved), attribute.Int("ramprow.moves", len(found.relocations)))
	return saved > 0, err
}

// search is one run of the planner, which others may cut short.
type search struct {
	o         planner.Search
	rounds    int
	disturbed bool // something has changed, or the lease was lost
}

func (i *Improver) newSearch(ctx context.Context, site string, revision uint64) *search {
	s := &search{}
	began := time.Now()
	round := began
	s.o = planner.Search{
		Seed: revision, Rounds: i.c.Rounds, Islands: max(1, runtime.GOMAXPROCS(0)/4),
		Progress: func() float64 { return float64(time.Since(began)) / float64(i.c.For) },
	}
	if i.c.Rounds < math.MaxInt {
		s.o.Progress = nil // by rounds, which is the same every time
	}
	s.o.Stop = func() bool {
		if s.rounds > 0 && s.o.Progress != nil {
			rest(ctx, restShare*time.Since(round))
		}
		round = time.Now()
		s.rounds++
		i.mu.Lock()
		s.disturbed = slices.Contains(i.waiting, site) || ctx.Err() != nil || !i.runner.Active(site)
		i.mu.Unlock()
		return s.disturbed || s.o.Progress != nil && time.Since(began) >= i.c.For
	}
	return s
}

// handIn has the writer decide on what was found, and gives what that saves; zero: it
// no longer fits.
func (i *Improver) handIn(ctx context.Context, site string, found *improvement) (saved float64, err error) {
	_, err = i.runner.Do(ctx, site, sitelog.Command[*State]{
		Method: improving,
		Decide: func(st *State, in sitelog.Input) (sitelog.Decision, error) {
			events, saves, err := st.adopt(found, in)
			saved = saves
			return sitelog.Decision{Events: events}, err
		},
	})
	if err != nil {
		return 0, fmt.Errorf("hand in a better plan: %w", err)
	}
	if saved == 0 {
		i.counts.Refused.Add(1)
		return 0, nil
	}
	i.counts.Adopted.Add(1)
	i.counts.Saved.Add(int64(math.Round(saved)))
	return saved, nil
}
