package memory

import (
	"context"
	"slices"
	"sync"

	"ramprow/internal/platform/sitelog"
)

// Snapshots is a sitelog.SnapshotStore in memory. The zero value is empty.
type Snapshots struct {
	mu   sync.Mutex
	kept map[snapshotKey][]byte
}

type snapshotKey struct {
	subject sitelog.Subject
	schema  uint32
}

var _ sitelog.SnapshotStore = (*Snapshots)(nil)

// Put implements sitelog.SnapshotStore.
func (s *Snapshots) Put(ctx context.Context, subject sitelog.Subject, schema uint32, data []byte) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.kept == nil {
		s.kept = map[snapshotKey][]byte{}
	}
	s.kept[snapshotKey{subject, schema}] = append([]byte{}, data...)
	return nil
}

// Get implements sitelog.SnapshotStore.
func (s *Snapshots) Get(ctx context.Context, subject sitelog.Subject, schema uint32) ([]byte, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.kept[snapshotKey{subject, schema}]), nil
}

// Delete implements sitelog.SnapshotStore.
func (s *Snapshots) Delete(ctx context.Context, subject sitelog.Subject, schema uint32) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.kept, snapshotKey{subject, schema})
	return nil
}
