package jetstream

import (
	"context"
	"errors"
	"fmt"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"ramprow/internal/platform/lease"
)

const leaseBucket = "RAMPROW_LEASES"

// errReconnected ends a watch: what happened while the server was away is only
// seen by a new one.
var errReconnected = errors.New("the connection was lost meanwhile")

// Leases is a lease.Store over JetStream's key-value store. The bucket
// RAMPROW_LEASES is kept in the server's memory, because each lease is written
// every second: a server that is started again has forgotten them, and they are
// taken anew.
type Leases struct{ log *Log }

var _ lease.Store = Leases{}

// Leases gives the store beside the log.
func (l *Log) Leases() Leases { return Leases{log: l} }

// Get implements lease.Store.
func (s Leases) Get(ctx context.Context, key string) (lease.Entry, error) {
	bucket, err := s.bucket(ctx)
	if err != nil {
		return lease.Entry{}, err
	}
	e, err := bucket.Get(ctx, key)
	if errors.Is(err, jetstream.ErrKeyNotFound) {
		return lease.Entry{Key: key}, nil
	}
	if err != nil {
		return lease.Entry{}, fmt.Errorf("read the lease %s: %w", key, err)
	}
	return lease.Entry{Key: key, Value: e.Value(), Revision: e.Revision()}, nil
}

// Put implements lease.Store.
func (s Leases) Put(ctx context.Context, key string, value []byte, expected uint64) (uint64, error) {
	bucket, err := s.bucket(ctx)
	if err != nil {
		return 0, err
	}
	revision, err := bucket.Update(ctx, key, value, expected) // 0 is a guard like any other
	if isLostRace(err) {
		return 0, fmt.Errorf("%w: %w", lease.ErrTaken, err)
	}
	if err != nil {
		return 0, fmt.Errorf("write the lease %s: %w", key, err)
	}
	return revision, nil
}

// Watch implements lease.Store.
func (s Leases) Watch(ctx context.Context, group string, fn func(lease.Entry) error) error {
	back := s.log.nc.StatusChanged(nats.CONNECTED)
	defer s.log.nc.RemoveStatusListener(back)
	bucket, err := s.bucket(ctx)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	watcher, err := bucket.Watch(ctx, group+".*")
	if err != nil {
		return fmt.Errorf("watch the leases of %s: %w", group, err)
	}
	for {
		select {
		case e, open := <-watcher.Updates():
			switch {
			case !open:
				return errors.Join(ctx.Err(), errReconnected)
			case e == nil: // all that was there has been given
				continue
			}
			if err := fn(lease.Entry{Key: e.Key(), Value: e.Value(), Revision: e.Revision()}); err != nil {
				return err
			}
		case <-back:
			return errReconnected
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// bucket opens the bucket, and makes it if it is not there. Its handle is not
// kept: a server that was started again has no bucket.
func (s Leases) bucket(ctx context.Context) (jetstream.KeyValue, error) {
	bucket, err := s.log.js.KeyValue(ctx, leaseBucket)
	if errors.Is(err, jetstream.ErrBucketNotFound) {
		bucket, err = s.log.js.CreateKeyValue(ctx, jetstream.KeyValueConfig{
			Bucket:      leaseBucket,
			Description: "Which replica does the work of a service's partition; forgetting it is harmless",
			Storage:     jetstream.MemoryStorage,
			Replicas:    s.log.o.Replicas,
		})
	}
	if errors.Is(err, jetstream.ErrBucketExists) { // another replica was first
		bucket, err = s.log.js.KeyValue(ctx, leaseBucket)
	}
	if err != nil {
		return nil, fmt.Errorf("open the leases: %w", err)
	}
	return bucket, nil
}
