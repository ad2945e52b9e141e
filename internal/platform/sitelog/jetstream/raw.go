package jetstream

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"

	"github.com/nats-io/nats.go/jetstream"
)

// rawSubject belongs to no service: it has too few tokens for a site.
const (
	rawStream  = "RAMPROW_SCRATCH"
	rawSubject = "ramprow-scratch.raw"
)

// RawPublisher publishes messages one by one, each waiting for its
// acknowledgement, into a scratch stream that is stored and synced like a log.
// It shows what the server does without group commit.
type RawPublisher struct {
	log     *Log
	payload []byte
}

// NewRawPublisher sets the scratch stream up for messages of a size in bytes.
func (l *Log) NewRawPublisher(ctx context.Context, size int) (*RawPublisher, error) {
	config := l.streamConfig("scratch")
	config.Name, config.Subjects, config.Description = rawStream, []string{rawSubject}, "Scratch, for measuring"
	if _, err := l.js.CreateOrUpdateStream(ctx, config); err != nil {
		return nil, fmt.Errorf("set up the scratch stream: %w", err)
	}
	return &RawPublisher{log: l, payload: make([]byte, size)}, nil
}

// Publish publishes one message and waits until it is on disk.
func (p *RawPublisher) Publish(ctx context.Context) error {
	_, err := p.log.js.Publish(ctx, rawSubject, p.payload)
	return err
}

// Run publishes a number of messages from several callers at once.
func (p *RawPublisher) Run(ctx context.Context, callers, messages int) error {
	var left atomic.Int64
	left.Store(int64(messages))
	failed := make([]error, callers)
	var wg sync.WaitGroup
	for i := range callers {
		wg.Go(func() {
			for left.Add(-1) >= 0 && failed[i] == nil {
				failed[i] = p.Publish(ctx)
			}
		})
	}
	wg.Wait()
	return errors.Join(failed...)
}

// Close deletes the scratch stream with all that it holds.
func (p *RawPublisher) Close(ctx context.Context) error {
	if err := p.log.js.DeleteStream(ctx, rawStream); err != nil && !errors.Is(err, jetstream.ErrStreamNotFound) {
		return fmt.Errorf("delete the scratch stream: %w", err)
	}
	return nil
}
