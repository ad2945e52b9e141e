// Package leasetest checks that a lease.Store does what a keeper relies on, and
// has one in memory for tests.
package leasetest

import (
	"context"
	"errors"
	"maps"
	"slices"
	"strings"
	"sync"

	"ramprow/internal/platform/lease"
)

// ErrAway is what a store answers that has been cut off.
var ErrAway = errors.New("the store is away")

// Memory is a lease.Store for replicas in one process.
type Memory struct {
	mu       sync.Mutex
	entries  map[string]lease.Entry
	revision uint64
	changed  chan struct{} // closed at each change
}

// NewMemory makes an empty store.
func NewMemory() *Memory {
	return &Memory{entries: map[string]lease.Entry{}, changed: make(chan struct{})}
}

// Get implements lease.Store.
func (m *Memory) Get(ctx context.Context, key string) (lease.Entry, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	e := m.entries[key]
	e.Key = key
	return e, ctx.Err()
}

// Put implements lease.Store.
func (m *Memory) Put(ctx context.Context, key string, value []byte, expected uint64) (uint64, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if ctx.Err() != nil {
		return 0, ctx.Err()
	}
	if m.entries[key].Revision != expected {
		return 0, lease.ErrTaken
	}
	m.revision++
	m.entries[key] = lease.Entry{Key: key, Value: slices.Clone(value), Revision: m.revision}
	close(m.changed)
	m.changed = make(chan struct{})
	return m.revision, nil
}

// Watch implements lease.Store.
func (m *Memory) Watch(ctx context.Context, group string, fn func(lease.Entry) error) error {
	given := map[string]uint64{}
	for {
		m.mu.Lock()
		entries, changed := maps.Clone(m.entries), m.changed
		m.mu.Unlock()
		for key, e := range entries {
			if !strings.HasPrefix(key, group+".") || given[key] == e.Revision {
				continue
			}
			given[key] = e.Revision
			if err := fn(e); err != nil {
				return err
			}
		}
		select {
		case <-changed:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// Forget loses every entry, as a broker does that keeps them in memory.
func (m *Memory) Forget() {
	m.mu.Lock()
	defer m.mu.Unlock()
	clear(m.entries)
	m.revision = 0
}

// Line is one replica's way to a store. It can be cut.
type Line struct {
	lease.Store

	mu  sync.Mutex
	cut bool
}

// Cut makes every request fail from now on, or no longer.
func (l *Line) Cut(yes bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.cut = yes
}

func (l *Line) state() error {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.cut {
		return ErrAway
	}
	return nil
}

// Get implements lease.Store.
func (l *Line) Get(ctx context.Context, key string) (lease.Entry, error) {
	if err := l.state(); err != nil {
		return lease.Entry{}, err
	}
	return l.Store.Get(ctx, key)
}

// Put implements lease.Store.
func (l *Line) Put(ctx context.Context, key string, value []byte, expected uint64) (uint64, error) {
	if err := l.state(); err != nil {
		return 0, err
	}
	return l.Store.Put(ctx, key, value, expected)
}

// Watch implements lease.Store.
func (l *Line) Watch(ctx context.Context, group string, fn func(lease.Entry) error) error {
	return l.Store.Watch(ctx, group, func(e lease.Entry) error {
		if l.state() != nil {
			return nil //nolint:nilerr // a line that is cut says nothing
		}
		return fn(e)
	})
}
