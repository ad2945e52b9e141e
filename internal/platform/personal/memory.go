package personal

import (
	"context"
	"slices"
	"sync"
)

// Memory is a Store for tests. The zero value is empty.
type Memory struct {
	mu       sync.Mutex
	keys     map[Name][]byte // nil: destroyed
	watchers map[*func(Name)]struct{}
}

var _ Store = (*Memory)(nil)

// Get implements Store.
func (m *Memory) Get(_ context.Context, name Name) ([]byte, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	secret, known := m.keys[name]
	switch {
	case !known:
		return nil, ErrNone
	case secret == nil:
		return nil, ErrDestroyed
	}
	return slices.Clone(secret), nil
}

// Create implements Store.
func (m *Memory) Create(_ context.Context, name Name, secret []byte) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if _, known := m.keys[name]; known {
		return ErrExists
	}
	if m.keys == nil {
		m.keys = map[Name][]byte{}
	}
	m.keys[name] = slices.Clone(secret)
	return nil
}

// Destroy implements Store.
func (m *Memory) Destroy(_ context.Context, name Name) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.keys == nil {
		m.keys = map[Name][]byte{}
	}
	m.keys[name] = nil
	for tell := range m.watchers {
		(*tell)(name)
	}
	return nil
}

// Watch implements Store.
func (m *Memory) Watch(ctx context.Context, ready func(), destroyed func(Name)) error {
	m.mu.Lock()
	if m.watchers == nil {
		m.watchers = map[*func(Name)]struct{}{}
	}
	m.watchers[&destroyed] = struct{}{}
	m.mu.Unlock()
	ready()
	<-ctx.Done()
	m.mu.Lock()
	defer m.mu.Unlock()
	delete(m.watchers, &destroyed)
	return ctx.Err()
}
