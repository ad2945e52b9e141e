// Package lifecycle starts and ends a process: what was opened is closed in
// reverse order, each part with its own time, and a signal first takes the
// process out of use and only then drains it.
package lifecycle

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"
)

// Closer is one thing to close.
type Closer struct {
	// Name stands in the error if closing fails.
	Name string
	// Timeout bounds this part alone; 10 s if zero.
	Timeout time.Duration
	Close   func(context.Context) error
}

const defaultTimeout = 10 * time.Second

// Closers is a stack of things to close. The zero value is empty and ready.
type Closers struct {
	mu    sync.Mutex
	stack []Closer
}

// Add puts one more thing on top of the stack: it will be closed before
// everything that was added earlier, on which it may stand.
func (c *Closers) Add(closer Closer) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.stack = append(c.stack, closer)
}

// Close closes everything, the latest first, and joins what went wrong. A part
// that fails or hangs does not keep the others from being closed. Closing again
// closes only what was added since.
func (c *Closers) Close(ctx context.Context) error {
	var failures []error
	for {
		closer, ok := c.pop()
		if !ok {
			return errors.Join(failures...)
		}
		if err := closer.run(ctx); err != nil {
			failures = append(failures, fmt.Errorf("close %s: %w", closer.Name, err))
		}
	}
}

func (c *Closers) pop() (Closer, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(c.stack) == 0 {
		return Closer{}, false
	}
	top := c.stack[len(c.stack)-1]
	c.stack = c.stack[:len(c.stack)-1]
	return top, true
}

// run closes one part and leaves it behind if it does not heed its context.
func (c Closer) run(ctx context.Context) error {
	timeout := c.Timeout
	if timeout <= 0 {
		timeout = defaultTimeout
	}
	ctx, cancel := context.WithTimeout(ctx, timeout)
	defer cancel()
	done := make(chan error, 1)
	go func() { done <- c.Close(ctx) }()
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
	}
	// It may have finished in the same moment, or be about to say why it cannot.
	select {
	case err := <-done:
		return err
	default:
		return ctx.Err()
	}
}
