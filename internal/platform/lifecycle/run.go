package lifecycle

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os/signal"
	"syscall"
	"time"
)

// Task is one thing that runs for as long as the process does.
type Task struct {
	// Name stands in the log and in the error.
	Name string
	// Run works until its context ends. To return earlier, with an error or
	// without, ends the process.
	Run func(context.Context) error
}

// Process is what Run needs to know.
type Process struct {
	Log *slog.Logger
	// Ready is told true when the tasks have been started, and false before
	// anything is drained. Nil: nobody asks.
	Ready func(bool)
	// DrainDelay is the time between not being ready and draining, in which
	// balancers and clients turn elsewhere. Zero is right for a single process.
	DrainDelay time.Duration
	// Closers is emptied at the end.
	Closers *Closers
	// Timeout bounds the whole end; 30 s if zero.
	Timeout time.Duration
}

const defaultProcessTimeout = 30 * time.Second

// Run starts the tasks and waits for SIGINT, SIGTERM, the context's end or the
// first task's. Then readiness drops, the closers run, the tasks are cancelled
// and awaited. A second signal kills the process as if nobody had listened.
func (p Process) Run(ctx context.Context, tasks ...Task) error {
	signalled, stop := signal.NotifyContext(ctx, syscall.SIGINT, syscall.SIGTERM)
	defer stop()
	// Tasks live on while the process drains: their cancellation comes last.
	running, cancel := context.WithCancel(context.WithoutCancel(ctx))
	defer cancel()
	ended := start(running, tasks)
	p.ready(true)

	awaited, err := len(tasks), error(nil)
	select {
	case <-signalled.Done():
		p.Log.InfoContext(ctx, "stopping", "why", context.Cause(signalled))
	case end := <-ended:
		awaited--
		err = end.early()
		p.Log.ErrorContext(ctx, "stopping", "why", err)
	}
	stop()
	return errors.Join(err, p.end(context.WithoutCancel(ctx), cancel, ended, awaited))
}

// end takes the process out of use, closes and waits, all within its time.
func (p Process) end(ctx context.Context, cancel func(), ended <-chan ending, awaited int) error {
	timeout := p.Timeout
	if timeout <= 0 {
		timeout = defaultProcessTimeout
	}
	p.ready(false)
	pause(ctx, p.DrainDelay)
	ctx, stop := context.WithTimeout(ctx, timeout)
	defer stop()
	var failures []error
	if p.Closers != nil {
		failures = append(failures, p.Closers.Close(ctx))
	}
	cancel()
	for range awaited {
		select {
		case end := <-ended:
			failures = append(failures, end.failure())
		case <-ctx.Done():
			return errors.Join(append(failures, errors.New("some tasks did not end in time"))...)
		}
	}
	return errors.Join(failures...)
}

func (p Process) ready(yes bool) {
	if p.Ready != nil {
		p.Ready(yes)
	}
}

// ending is how a task came back.
type ending struct {
	name string
	err  error
}

func start(ctx context.Context, tasks []Task) <-chan ending {
	ended := make(chan ending, len(tasks))
	for _, task := range tasks {
		go func() { ended <- ending{name: task.Name, err: task.Run(ctx)} }()
	}
	return ended
}

// early is the error of a task that came back while the process should run.
func (e ending) early() error {
	if e.err == nil {
		return fmt.Errorf("%s ended by itself", e.name)
	}
	return fmt.Errorf("%s: %w", e.name, e.err)
}

// failure is the error of a task that was told to end: that it was told is none.
func (e ending) failure() error {
	if e.err == nil || errors.Is(e.err, context.Canceled) {
		return nil
	}
	return fmt.Errorf("%s: %w", e.name, e.err)
}

func pause(ctx context.Context, d time.Duration) {
	if d <= 0 {
		return
	}
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
	case <-ctx.Done():
	}
}
