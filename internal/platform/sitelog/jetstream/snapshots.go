package jetstream

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"strconv"
	"sync"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"ramprow/internal/platform/sitelog"
)

const (
	snapshotBucket = "RAMPROW_SNAPSHOTS"
	// snapshotChunk is one message of a snapshot in bytes: few of them, because
	// each is synced to disk, and each well below what a server takes.
	snapshotChunk = 512 << 10
	// snapshotPatience bounds the way of one snapshot to or from the server.
	snapshotPatience = 30 * time.Second
)

// Snapshots is a sitelog.SnapshotStore over JetStream's object store. The bucket
// RAMPROW_SNAPSHOTS is created with the first snapshot, and may be deleted at any
// time. What Get gives carries its own checksum.
type Snapshots struct {
	log *Log

	mu     sync.Mutex
	bucket jetstream.ObjectStore
}

var _ sitelog.SnapshotStore = (*Snapshots)(nil)

// Snapshots gives the store beside the log.
func (l *Log) Snapshots() *Snapshots { return &Snapshots{log: l} }

// Put implements sitelog.SnapshotStore.
func (s *Snapshots) Put(ctx context.Context, subject sitelog.Subject, schema uint32, data []byte) error {
	return s.with(ctx, s.create, func(ctx context.Context, bucket jetstream.ObjectStore) error {
		_, err := bucket.Put(ctx, jetstream.ObjectMeta{
			Name: snapshotName(subject, schema),
			Opts: &jetstream.ObjectMetaOptions{ChunkSize: snapshotChunk},
		}, bytes.NewReader(data))
		return err
	})
}

// Get implements sitelog.SnapshotStore.
func (s *Snapshots) Get(ctx context.Context, subject sitelog.Subject, schema uint32) (data []byte, err error) {
	err = s.with(ctx, s.find, func(ctx context.Context, bucket jetstream.ObjectStore) error {
		object, err := bucket.Get(ctx, snapshotName(subject, schema))
		if err != nil {
			return err
		}
		info, err := object.Info()
		if err != nil {
			return errors.Join(err, object.Close())
		}
		data = make([]byte, info.Size)
		_, err = io.ReadFull(object, data)
		return errors.Join(err, object.Close())
	})
	if absent(err) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return data, nil
}

// Delete implements sitelog.SnapshotStore.
func (s *Snapshots) Delete(ctx context.Context, subject sitelog.Subject, schema uint32) error {
	err := s.with(ctx, s.find, func(ctx context.Context, bucket jetstream.ObjectStore) error {
		return bucket.Delete(ctx, snapshotName(subject, schema))
	})
	if absent(err) {
		return nil
	}
	return err
}

func absent(err error) bool {
	return errors.Is(err, jetstream.ErrObjectNotFound) || errors.Is(err, jetstream.ErrBucketNotFound)
}

func (s *Snapshots) find(ctx context.Context) (jetstream.ObjectStore, error) {
	return s.log.js.ObjectStore(ctx, snapshotBucket)
}

func (s *Snapshots) create(ctx context.Context) (jetstream.ObjectStore, error) {
	return s.log.js.CreateOrUpdateObjectStore(ctx, jetstream.ObjectStoreConfig{
		Bucket:      snapshotBucket,
		Description: "Newest state per service and site; may be deleted, the logs hold the same",
		Storage:     jetstream.FileStorage,
		Replicas:    s.log.o.Replicas,
	})
}

// with runs one request on the bucket, and looks for the bucket anew after a
// failure: somebody may have deleted it.
func (s *Snapshots) with(ctx context.Context, open func(context.Context) (jetstream.ObjectStore, error),
	request func(context.Context, jetstream.ObjectStore) error,
) error {
	ctx, cancel := context.WithTimeout(ctx, snapshotPatience)
	defer cancel()
	return s.log.denials.watch(ctx, "OBJ_"+snapshotBucket, func(ctx context.Context) error {
		return s.ask(ctx, open, request)
	})
}

func (s *Snapshots) ask(ctx context.Context, open func(context.Context) (jetstream.ObjectStore, error),
	request func(context.Context, jetstream.ObjectStore) error,
) error {
	s.mu.Lock()
	bucket := s.bucket
	s.mu.Unlock()
	if bucket == nil {
		// One small request: servers of a cluster without a leader do not answer it,
		// and a site must not wait for that as long as for a large snapshot.
		opening, cancel := context.WithTimeout(ctx, s.log.o.Timeout)
		defer cancel()
		var err error
		if bucket, err = open(opening); err != nil {
			return fmt.Errorf("open the snapshots: %w", err)
		}
	}
	err := request(ctx, bucket)
	if err != nil && !absent(err) {
		bucket = nil
		err = fmt.Errorf("snapshots: %w", err)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.bucket = bucket
	return err
}

// snapshotName is as in job/main-street/2893341.
func snapshotName(s sitelog.Subject, schema uint32) string {
	return s.Service + "/" + s.Site + "/" + strconv.FormatUint(uint64(schema), 10)
}
