package readmodel

import (
	"context"
	"errors"
	"time"

	"github.com/redis/go-redis/v9"
)

// Drawer keeps small values under names for a time: sessions and counters, which
// nobody misses for long if Redis is lost.
type Drawer struct {
	store  *Store
	prefix string
}

// Drawer gives the one of a name; several do not see each other's values.
func (st *Store) Drawer(name string) Drawer {
	return Drawer{store: st, prefix: "ramprow:drawer:" + name + ":"}
}

// Keep puts a value under a name, in place of what was there, for as long as life.
func (d Drawer) Keep(ctx context.Context, name string, value []byte, life time.Duration) error {
	if err := d.store.client.Set(ctx, d.prefix+name, value, life).Err(); err != nil {
		return away(err)
	}
	return nil
}

// Find gives what is kept under a name; nil if nothing is.
func (d Drawer) Find(ctx context.Context, name string) ([]byte, error) {
	value, err := d.store.client.Get(ctx, d.prefix+name).Bytes()
	if errors.Is(err, redis.Nil) {
		return nil, nil
	}
	if err != nil {
		return nil, away(err)
	}
	return value, nil
}

// Drop forgets what is kept under a name.
func (d Drawer) Drop(ctx context.Context, name string) error {
	if err := d.store.client.Del(ctx, d.prefix+name).Err(); err != nil {
		return away(err)
	}
	return nil
}

// Count adds one to a counter and gives it; it starts anew when life has passed since its first count.
func (d Drawer) Count(ctx context.Context, name string, life time.Duration) (int64, error) {
	var count *redis.IntCmd
	_, err := d.store.client.TxPipelined(ctx, func(pipe redis.Pipeliner) error {
		pipe.SetNX(ctx, d.prefix+name, 0, life)
		count = pipe.Incr(ctx, d.prefix+name)
		return nil
	})
	if err != nil {
		return 0, away(err)
	}
	return count.Val(), nil
}
