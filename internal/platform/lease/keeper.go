package lease

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"
)

// Times that hold when Config leaves them at zero.
const (
	DefaultTTL   = 3 * time.Second
	DefaultRenew = time.Second
)

const (
	// firstPatience bounds what Start waits for the store. One that has just been
	// made on a cluster answers nobody until it has a leader.
	firstPatience = 10 * time.Second
	firstRest     = 100 * time.Millisecond // between two tries
)

// Config is what a Keeper needs. Store, Group, Parts and Self are required.
type Config struct {
	Store Store
	// Group and Parts name the leases: one for each part, under <group>.<part>.
	Group string
	Parts []string
	Self  Holder
	// TTL is how long a holder may be silent, Renew how often it writes. Renew also
	// bounds one request to the store.
	TTL   time.Duration
	Renew time.Duration
	// Logger takes what nobody waits for: who holds what, and a store that is away.
	Logger *slog.Logger
}

func (c Config) complete() (Config, error) {
	if c.Store == nil || c.Group == "" || len(c.Parts) == 0 || c.Self.ID == "" || c.Self.Address == "" {
		return c, errors.New("lease: a keeper needs a store, a group with parts, and an own id and address")
	}
	if c.TTL <= 0 {
		c.TTL = DefaultTTL
	}
	if c.Renew <= 0 {
		c.Renew = DefaultRenew
	}
	if c.Renew >= c.TTL {
		return c, errors.New("lease: Renew must be shorter than TTL, or a live holder would lose its leases")
	}
	if c.Logger == nil {
		c.Logger = slog.New(slog.DiscardHandler)
	}
	return c, nil
}

// Keeper takes and renews leases for one replica, and knows who holds the others.
type Keeper struct {
	c       Config
	cancel  context.CancelFunc
	running sync.WaitGroup
	changed chan struct{} // holds one token when Holds may answer otherwise

	mu     sync.Mutex
	claims map[string]*claim // by part
}

// Start has asked for every lease when it returns, so that a replica which is
// alone begins as the holder. A store that does not answer in time is an error: nobody
// would do the work then. ctx bounds that alone: a keeper lives until Close.
func Start(ctx context.Context, c Config) (*Keeper, error) {
	c, err := c.complete()
	if err != nil {
		return nil, err
	}
	life, cancel := context.WithCancel(context.WithoutCancel(ctx))
	k := &Keeper{c: c, cancel: cancel, changed: make(chan struct{}, 1), claims: map[string]*claim{}}
	for _, part := range c.Parts {
		k.claims[part] = &claim{key: c.Group + "." + part, nudge: make(chan struct{}, 1)}
	}
	if err := k.begin(ctx); err != nil {
		cancel()
		return nil, fmt.Errorf("the leases of %s cannot be asked for: %w", c.Group, err)
	}
	for _, claim := range k.claims {
		k.running.Go(func() { k.keep(life, claim) })
	}
	k.running.Go(func() { k.watch(life) })
	return k, nil
}

// begin attends to all leases at once, and gives one of the errors.
func (k *Keeper) begin(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, firstPatience)
	defer cancel()
	failures := make(chan error, len(k.claims))
	for _, c := range k.claims {
		go func() { failures <- k.first(ctx, c) }()
	}
	var failure error
	for range k.claims {
		if err := <-failures; err != nil {
			failure = err
		}
	}
	return failure
}

// first attends to a lease until the store has answered, for as long as ctx lives.
func (k *Keeper) first(ctx context.Context, c *claim) error {
	for {
		try, cancel := context.WithTimeout(ctx, k.c.Renew)
		err := k.attend(try, c)
		cancel()
		if err == nil {
			return nil
		}
		rest := time.NewTimer(firstRest)
		select {
		case <-rest.C:
		case <-ctx.Done():
			rest.Stop()
			return err
		}
	}
}

// Holds tells whether this replica should do the work of a part.
func (k *Keeper) Holds(part string) bool {
	k.mu.Lock()
	defer k.mu.Unlock()
	c, ok := k.claims[part]
	return ok && c.heldBy(k.c.Self.ID, time.Now(), k.c.TTL)
}

// Elsewhere gives the address of the replica that does the work of a part; ""
// if it is this one, or if nobody is known to.
func (k *Keeper) Elsewhere(part string) string {
	k.mu.Lock()
	defer k.mu.Unlock()
	c, ok := k.claims[part]
	if !ok || c.holder.Address == k.c.Self.Address {
		return ""
	}
	return c.holder.Address
}

// Changed gives a token after Holds may have begun to answer otherwise. It is for
// one reader, and several changes may give one token.
func (k *Keeper) Changed() <-chan struct{} { return k.changed }

// Close gives all leases back, so that others need not wait for them to expire.
// The error says which could not be given back.
func (k *Keeper) Close(ctx context.Context) error {
	k.cancel()
	k.running.Wait()
	vacancy, err := Holder{}.encode()
	if err != nil {
		return err
	}
	failures := make(chan error, len(k.claims))
	for _, c := range k.claims {
		go func() { failures <- k.giveBack(ctx, c, vacancy) }()
	}
	for range k.claims {
		err = errors.Join(err, <-failures)
	}
	return err
}

func (k *Keeper) giveBack(ctx context.Context, c *claim, vacancy []byte) error {
	holder, revision := k.known(c)
	if holder.ID != k.c.Self.ID {
		return nil
	}
	began := time.Now()
	revision, err := k.c.Store.Put(ctx, c.key, vacancy, revision)
	if err == nil || errors.Is(err, ErrTaken) {
		k.note(c, Entry{Key: c.key, Value: vacancy, Revision: revision}, began)
		return nil
	}
	return err
}
