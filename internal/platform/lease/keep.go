package lease

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"
)

// keep attends to one lease for as long as ctx lives.
func (k *Keeper) keep(ctx context.Context, c *claim) {
	for {
		timer := time.NewTimer(k.pause(c))
		select {
		case <-timer.C:
		case <-c.nudge:
		case <-ctx.Done():
			timer.Stop()
			return
		}
		timer.Stop()
		k.tend(ctx, c)
	}
}

// pause gives the time until there may be something to do: to renew, or to take
// over from a holder that has become silent.
func (k *Keeper) pause(c *claim) time.Duration {
	k.mu.Lock()
	defer k.mu.Unlock()
	left := k.c.TTL - time.Since(c.since)
	if left <= 0 {
		return k.c.Renew
	}
	return min(k.c.Renew, left)
}

// tend attends to a lease within the time there is, and says if it could not.
func (k *Keeper) tend(ctx context.Context, c *claim) {
	ctx, cancel := context.WithTimeout(ctx, k.c.Renew)
	defer cancel()
	if err := k.attend(ctx, c); err != nil && !errors.Is(err, context.Canceled) {
		k.c.Logger.Warn("a lease cannot be asked for; trying again", "lease", c.key, "error", err)
	}
}

// attend renews a lease that is held, and takes one that is free.
func (k *Keeper) attend(ctx context.Context, c *claim) error {
	err := k.bid(ctx, c)
	if errors.Is(err, ErrTaken) {
		err = k.ask(ctx, c)
	}
	return err
}

// bid writes the own name into a lease that is held or free.
func (k *Keeper) bid(ctx context.Context, c *claim) error {
	if holder, _ := k.known(c); holder.ID != k.c.Self.ID {
		if !k.isFree(c) {
			return nil
		}
		isNew := !k.wasAsked(c)
		// What was seen may be old: only the store knows whether the holder is silent.
		if err := k.ask(ctx, c); err != nil {
			return err
		}
		if !k.isFree(c) && !(isNew && k.isPredecessor(c)) {
			return nil
		}
	}
	value, err := k.c.Self.encode()
	if err != nil {
		return err
	}
	began := time.Now()
	_, expected := k.known(c)
	revision, err := k.c.Store.Put(ctx, c.key, value, expected)
	if err != nil {
		k.tell() // a belief may have ended for want of renewal
		return err
	}
	k.note(c, Entry{Key: c.key, Value: value, Revision: revision}, began)
	return nil
}

// ask learns from the store who holds a lease.
func (k *Keeper) ask(ctx context.Context, c *claim) error {
	e, err := k.c.Store.Get(ctx, c.key)
	if err != nil {
		return err
	}
	at := time.Now()
	if holderIn(e).ID == k.c.Self.ID {
		// An own write whose answer was lost: when it began is not known, so it
		// makes no belief longer.
		at = k.since(c)
	}
	k.note(c, e, at)
	return nil
}

// watch learns of others' leases as soon as they change.
func (k *Keeper) watch(ctx context.Context) {
	for ctx.Err() == nil {
		err := k.c.Store.Watch(ctx, k.c.Group, func(e Entry) error {
			k.saw(e)
			return nil
		})
		if ctx.Err() != nil {
			return
		}
		k.c.Logger.Warn("watching the leases was interrupted; starting again", "group", k.c.Group, "error", fmt.Sprint(err))
		select {
		case <-time.After(k.c.Renew):
		case <-ctx.Done():
		}
	}
}

// saw takes what the watch tells of others. It may be late, so only a newer
// revision counts; a store that has forgotten everything is found out by asking.
func (k *Keeper) saw(e Entry) {
	k.mu.Lock()
	c, ok := k.claims[strings.TrimPrefix(e.Key, k.c.Group+".")]
	newer := ok && e.Revision > c.revision
	k.mu.Unlock()
	if !newer || holderIn(e).ID == k.c.Self.ID {
		return
	}
	k.note(c, e, time.Now())
	if holderIn(e).vacant() {
		select {
		case c.nudge <- struct{}{}:
		default:
		}
	}
}

// note takes an entry, and tells when another replica is now the holder.
func (k *Keeper) note(c *claim, e Entry, at time.Time) {
	k.mu.Lock()
	before := c.holder
	lapsed := before.ID == k.c.Self.ID && c.silent(at, k.c.TTL)
	c.take(e, at)
	after := c.holder
	k.mu.Unlock()
	if before == after && !lapsed {
		return
	}
	if before != after {
		k.c.Logger.Info("a lease has another holder", "lease", e.Key, "from", before.Address, "to", after.Address)
	}
	k.tell()
}

func (k *Keeper) tell() {
	select {
	case k.changed <- struct{}{}:
	default:
	}
}

func (k *Keeper) known(c *claim) (holder Holder, revision uint64) {
	k.mu.Lock()
	defer k.mu.Unlock()
	return c.holder, c.revision
}

func (k *Keeper) since(c *claim) time.Time {
	k.mu.Lock()
	defer k.mu.Unlock()
	return c.since
}

// isPredecessor tells whether the holder had the address that is now ours: it is
// the process that ran here before this one, and is gone.
func (k *Keeper) isPredecessor(c *claim) bool {
	holder, _ := k.known(c)
	return holder.Address == k.c.Self.Address
}

func (k *Keeper) wasAsked(c *claim) bool {
	k.mu.Lock()
	defer k.mu.Unlock()
	return c.asked
}

func (k *Keeper) isFree(c *claim) bool {
	k.mu.Lock()
	defer k.mu.Unlock()
	return c.free(time.Now(), k.c.TTL)
}
