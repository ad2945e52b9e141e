package lifecycle_test

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"os"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"

	"ramprow/internal/platform/lifecycle"
)

// diary notes what happens in which order.
type diary struct {
	mu    sync.Mutex
	lines []string
}

func (d *diary) note(line string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.lines = append(d.lines, line)
}

// process notes its readiness and the closing of its server.
func process(d *diary) lifecycle.Process {
	closers := &lifecycle.Closers{}
	closers.Add(lifecycle.Closer{Name: "server", Close: func(context.Context) error {
		d.note("drained")
		return nil
	}})
	return lifecycle.Process{Log: slog.New(slog.DiscardHandler), Closers: closers, Ready: func(yes bool) {
		d.note(map[bool]string{true: "ready", false: "not ready"}[yes])
	}}
}

// working is a task that works until it is told to end.
func working(d *diary, began chan<- struct{}) lifecycle.Task {
	return lifecycle.Task{Name: "work", Run: func(ctx context.Context) error {
		close(began)
		<-ctx.Done()
		d.note("task ended")
		return ctx.Err()
	}}
}

func TestRunEndsInOrder(t *testing.T) {
	want := []string{"ready", "not ready", "drained", "task ended"}
	stops := map[string]func(cancel func()){
		"context": func(cancel func()) { cancel() },
		"SIGTERM": func(func()) { _ = syscall.Kill(os.Getpid(), syscall.SIGTERM) },
		"SIGINT":  func(func()) { _ = syscall.Kill(os.Getpid(), syscall.SIGINT) },
	}
	for name, stop := range stops {
		t.Run(name, func(t *testing.T) {
			var d diary
			ctx, cancel := context.WithCancel(context.Background())
			defer cancel()
			began, done := make(chan struct{}), make(chan error, 1)
			go func() { done <- process(&d).Run(ctx, working(&d, began)) }()
			<-began
			stop(cancel)
			if err := <-done; err != nil {
				t.Errorf("to be told to stop is no error: %v", err)
			}
			if !slices.Equal(d.lines, want) {
				t.Errorf("got %v, want %v", d.lines, want)
			}
		})
	}
}

func TestATaskThatEndsEarlyEndsTheProcess(t *testing.T) {
	for _, result := range []error{io.ErrUnexpectedEOF, nil} {
		var d diary
		err := process(&d).Run(context.Background(),
			working(&d, make(chan struct{})),
			lifecycle.Task{Name: "server", Run: func(context.Context) error { return result }},
		)
		if err == nil || !strings.Contains(err.Error(), "server") || result != nil && !errors.Is(err, result) {
			t.Errorf("task gave %v: got %v", result, err)
		}
		if last := d.lines[len(d.lines)-1]; last != "task ended" {
			t.Errorf("the other task was not awaited: %v", d.lines)
		}
	}
}

func TestFailuresWhileEndingAreReported(t *testing.T) {
	var d diary
	p := process(&d)
	p.Closers.Add(lifecycle.Closer{Name: "log", Close: func(context.Context) error { return io.ErrShortWrite }})
	ctx, cancel := context.WithCancel(context.Background())
	err := p.Run(ctx, lifecycle.Task{Name: "follow", Run: func(ctx context.Context) error {
		cancel()
		<-ctx.Done()
		return io.ErrClosedPipe
	}})
	if !errors.Is(err, io.ErrShortWrite) || !errors.Is(err, io.ErrClosedPipe) {
		t.Errorf("got %v", err)
	}
}
