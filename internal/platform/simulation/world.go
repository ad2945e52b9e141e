package simulation

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"sync"
	"testing/synctest"
	"time"

	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/memory"
)

// Scenario is what callers do.
type Scenario interface {
	// Next gives something to ask for now, under a request id; false: nothing
	// comes to mind. It must draw from r only.
	Next(r *rand.Rand, requestID string) (Request, bool)
	// Heard is told of every call that was answered, in a fixed order.
	Heard(c *Call)
}

// Config describes one run.
type Config struct {
	Seed  uint64
	Steps int
	// Keep lists the steps to take, in order; nil: all of them.
	Keep     []int
	Services []Service
	Site     string
	// Before is what the logs hold at the start.
	Before []sitelog.Record
	// Began is the time on all clocks at the start.
	Began    time.Time
	Scenario Scenario
	// Wrap puts something between a replica and its log; nil: nothing. Tests plant faults here.
	Wrap func(replica string, log sitelog.Log) sitelog.Log
}

// Result is what a run left behind.
type Result struct {
	Records []sitelog.Record // by service in the order of Config.Services, then by sequence
	Calls   []*Call
	// Transcript tells every step that did something, one a line.
	Transcript []string
	// Releases counts the operations that were let through the gate.
	Releases int
}

// world is the state of a run.
type world struct {
	Config
	log      gated
	gate     *gate
	ghosts   *ghosts
	replicas []*replica
	start0   time.Time // of the bubble's clock
	era      string    // begins every id, so that those of preparation stay apart

	mu    sync.Mutex // for what goroutines of callers and clocks share with the world
	calls []*Call

	step       int
	transcript []string
	releases   int
}

// Run runs one world from its first step to its healing. An error is a defect of
// the world or of a service's start, not a violation of anything.
func Run(c Config) (result Result, err error) {
	broke := bubble(func() { result, err = newWorld(c).run() })
	if broke != nil {
		return result, broke
	}
	return result, err
}

func newWorld(c Config) *world {
	w := &world{Config: c, gate: &gate{}, ghosts: &ghosts{}, start0: time.Now()}
	w.log = gated{Log: memory.New(), gate: w.gate, ghosts: w.ghosts}
	w.log.SetHook(w.gate.ask)
	for _, s := range c.Services {
		for _, place := range []string{"a", "b"} {
			w.replicas = append(w.replicas, &replica{service: s, name: s.Name + "/" + place})
		}
	}
	return w
}

func (w *world) run() (Result, error) {
	defer w.stopAll()
	if err := w.fill(); err != nil {
		return Result{}, err
	}
	if err := w.startFirst(); err != nil {
		return Result{}, err
	}
	steps := w.Keep
	if steps == nil {
		steps = numbers(w.Steps)
	}
	for _, w.step = range steps {
		if err := w.take(rand.New(rand.NewPCG(w.Seed, uint64(w.step)))); err != nil { //nolint:gosec // a step is small and positive
			return Result{}, err
		}
		w.hear()
	}
	w.step = w.Steps
	if err := w.heal(); err != nil {
		return Result{}, err
	}
	records, err := w.records()
	return Result{Records: records, Calls: w.calls, Transcript: w.transcript, Releases: w.releases}, err
}

func numbers(n int) []int {
	list := make([]int, n)
	for i := range list {
		list[i] = i
	}
	return list
}

// fill writes what the logs hold at the start.
func (w *world) fill() error {
	last := map[sitelog.Subject]uint64{}
	for _, r := range w.Before {
		sequence, err := w.log.Append(context.Background(), r.Subject, last[r.Subject], r.Message)
		if err != nil {
			return fmt.Errorf("write what was before: %w", err)
		}
		last[r.Subject] = sequence
	}
	return nil
}

// startFirst starts the first replica of every service.
func (w *world) startFirst() error {
	for _, r := range w.replicas {
		if r.name != r.service.Name+"/a" {
			continue
		}
		if err := w.start(r); err != nil {
			return err
		}
	}
	w.settle()
	return nil
}

func (w *world) stopAll() {
	for _, r := range w.replicas {
		if r.runs() {
			r.stop()
		}
	}
	synctest.Wait()
}

// now is the time by a clock that never jumped.
func (w *world) now() time.Time { return w.Began.Add(time.Since(w.start0)) }

func (w *world) skewOf(r *replica) time.Duration {
	w.mu.Lock()
	defer w.mu.Unlock()
	return r.skew
}

// settle lets everything at the gate pass until nothing moves any more. Time
// does not pass meanwhile. The bound only keeps a defect from running for ever.
func (w *world) settle() {
	for range 20_000 {
		synctest.Wait()
		list := w.gate.list()
		if len(list) == 0 {
			return
		}
		w.releases++
		w.gate.release(list[0], memory.Effect{})
	}
}

// pass lets virtual time go by.
func (w *world) pass(d time.Duration) {
	<-time.After(d)
	synctest.Wait()
}

func (w *world) note(format string, args ...any) {
	w.transcript = append(w.transcript, fmt.Sprintf("%4d  ", w.step)+fmt.Sprintf(format, args...))
}

// hear tells the scenario what was answered since the last time.
func (w *world) hear() {
	w.mu.Lock()
	var answered []*Call
	for _, c := range w.calls {
		if c.Answered && !c.heard {
			c.heard = true
			answered = append(answered, c)
		}
	}
	w.mu.Unlock()
	for _, c := range answered {
		w.note("%s %s by %s: %s", c.short(), requestID(c.Message), c.Replica, outcome(c))
		w.Scenario.Heard(c)
	}
}

func outcome(c *Call) string {
	if c.Err != nil {
		return "failed: " + c.Err.Error()
	}
	return "answered"
}

func (w *world) records() ([]sitelog.Record, error) {
	var all []sitelog.Record
	for _, s := range w.Services {
		subject := sitelog.Subject{Service: s.Name, Site: w.Site}
		err := w.log.Read(context.Background(), subject, 0, func(r sitelog.Record) error {
			all = append(all, r)
			return nil
		})
		if err != nil {
			return nil, err
		}
	}
	return all, nil
}

func (w *world) running() []*replica {
	return slices.DeleteFunc(slices.Clone(w.replicas), func(r *replica) bool { return !r.runs() })
}
