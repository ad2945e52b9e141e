package personal

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"sync"
	"time"
)

// maxKept is how many keys a process keeps at hand: about 1 kB each.
const maxKept = 4096

// watchPause is the rest between a watch that broke off and the next.
const watchPause = time.Second

// maxAge is how long a key is kept at hand at most: whoever is killed between a
// destruction and telling of it is not heard.
const maxAge = time.Minute

// Vault gives keys. It keeps those used last at hand, for as long as it would
// hear of their destruction by another process.
type Vault struct {
	store  Store
	random io.Reader
	log    *slog.Logger
	start  sync.Once
	stop   context.CancelFunc
	ended  chan struct{}
	life   context.Context //nolint:containedctx // the vault's own life, not a call's

	mu   sync.Mutex
	kept map[Name]*Key // nil: destroyed
	live bool          // destructions are heard of
	// changes counts what was heard, so that a key that was read before is not kept after it.
	changes uint64
}

// NewVault makes a vault over a store. Close ends it.
func NewVault(store Store, log *slog.Logger) *Vault {
	if log == nil {
		log = slog.New(slog.DiscardHandler)
	}
	v := &Vault{store: store, random: rand.Reader, log: log, ended: make(chan struct{}), kept: map[Name]*Key{}}
	v.life, v.stop = context.WithCancel(context.Background())
	return v
}

// Close ends the watch over the store.
func (v *Vault) Close() {
	v.stop()
	v.start.Do(func() { close(v.ended) })
	<-v.ended
}

// Make gives a key, and makes it if there is none; ErrDestroyed once it was destroyed.
func (v *Vault) Make(ctx context.Context, site, id string) (*Key, error) {
	key, err := v.Find(ctx, site, id)
	if !errors.Is(err, ErrNone) {
		return key, err
	}
	secret := make([]byte, keySize)
	if _, err := io.ReadFull(v.random, secret); err != nil {
		return nil, fmt.Errorf("make a key: %w", err)
	}
	if err := v.store.Create(ctx, Name{site, id}, secret); err != nil && !errors.Is(err, ErrExists) {
		return nil, fmt.Errorf("keep the key %s: %w", id, err)
	}
	return v.Find(ctx, site, id) // of two who make one at once, the first one's
}

// Find gives a key; ErrNone or ErrDestroyed if there is none.
func (v *Vault) Find(ctx context.Context, site, id string) (*Key, error) {
	v.start.Do(func() { go v.watch() })
	name := Name{site, id}
	v.mu.Lock()
	key, known := v.kept[name]
	changes := v.changes
	v.mu.Unlock()
	switch {
	case known && key == nil:
		return nil, ErrDestroyed
	case known:
		return key, nil
	}
	secret, err := v.store.Get(ctx, name)
	if errors.Is(err, ErrDestroyed) {
		v.keep(name, nil, changes)
	}
	if err != nil {
		return nil, fmt.Errorf("read the key %s: %w", id, err)
	}
	if key, err = newKey(site, id, secret); err != nil {
		return nil, err
	}
	v.keep(name, key, changes)
	return key, nil
}

// keep holds a key at hand, unless a destruction was heard of meanwhile. When
// there are too many, any go: each can be read again.
func (v *Vault) keep(name Name, key *Key, changes uint64) {
	v.mu.Lock()
	defer v.mu.Unlock()
	if !v.live || v.changes != changes {
		return
	}
	for other := range v.kept {
		if len(v.kept) < maxKept {
			break
		}
		delete(v.kept, other)
	}
	v.kept[name] = key
}

// Destroy makes everything under a key unreadable for ever, here at once and in
// other processes as soon as they hear of it.
func (v *Vault) Destroy(ctx context.Context, site, id string) error {
	name := Name{site, id}
	if err := v.store.Destroy(ctx, name); err != nil {
		return fmt.Errorf("destroy the key %s: %w", id, err)
	}
	v.forget(name)
	return nil
}

func (v *Vault) forget(name Name) {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.changes++
	delete(v.kept, name)
}

// heard says whether destructions are heard of from now on. What is at hand when
// they no longer are, goes.
func (v *Vault) heard(yes bool) {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.live = yes
	v.changes++
	clear(v.kept)
}

func (v *Vault) watch() {
	defer close(v.ended)
	for v.life.Err() == nil {
		err := v.watchOnce()
		v.heard(false)
		if v.life.Err() != nil {
			return
		}
		v.log.Warn("the keys of personal data are not watched; none is kept at hand until they are", "error", err)
		select {
		case <-time.After(watchPause):
		case <-v.life.Done():
		}
	}
}

// watchOnce listens until that breaks off, and drops what is at hand now and then.
func (v *Vault) watchOnce() error {
	ctx, end := context.WithCancel(v.life)
	defer end()
	var aging sync.WaitGroup
	defer aging.Wait()
	return v.store.Watch(ctx, func() {
		v.heard(true)
		aging.Go(func() {
			old := time.NewTicker(maxAge)
			defer old.Stop()
			for {
				select {
				case <-old.C:
					v.heard(true)
				case <-ctx.Done():
					return
				}
			}
		})
	}, v.forget)
}
