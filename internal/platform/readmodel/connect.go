package readmodel

import (
	"context"
	"sync"
	"time"

	"github.com/redis/go-redis/v9"
	"github.com/redis/go-redis/v9/maintnotifications"

	"ramprow/internal/platform/fault"
)

// ReasonAway is the reason of every error that says Redis cannot be reached.
const ReasonAway = "READ_MODEL_AWAY"

// Options say where Redis is.
type Options struct {
	// URL as in redis://:password@host:6379/0, rediss://… for TLS, or
	// unix:///run/redis.sock.
	URL string
	// Timeout bounds connecting, and each read and write. Default 1 s: a read
	// model that answers later is as good as away, and reads have a fallback.
	Timeout time.Duration
}

// silence stops go-redis from printing to the standard error: whatever fails is
// returned, and logged where it is handled. It can only be set for all clients.
var silence = sync.OnceFunc(func() { redis.SetLogger(silent{}) })

type silent struct{}

func (silent) Printf(context.Context, string, ...any) {}

// Store is a connection to Redis.
type Store struct{ client *redis.Client }

// Connect prepares the connection. It does not wait for Redis: commands work
// on without it, and a projector catches up once it is there. Ping tells.
func Connect(o Options) (*Store, error) {
	options, err := redis.ParseURL(o.URL)
	if err != nil {
		return nil, fault.New(fault.Invalid, "REDIS_URL_INVALID",
			"the Redis address cannot be read; it looks like redis://:password@host:6379/0").Because(err)
	}
	if o.Timeout == 0 {
		o.Timeout = time.Second
	}
	options.DialTimeout = o.Timeout
	options.ReadTimeout = o.Timeout
	options.WriteTimeout = o.Timeout
	options.ContextTimeoutEnabled = true
	// One repetition hides a connection that went stale in the pool; more would
	// only delay the fallback.
	options.MaxRetries = 1
	options.DialerRetries = 1
	options.DisableIdentity = true
	options.MaintNotificationsConfig = &maintnotifications.Config{Mode: maintnotifications.ModeDisabled}
	silence()
	return &Store{client: redis.NewClient(options)}, nil
}

// Ping asks Redis for a sign of life.
func (st *Store) Ping(ctx context.Context) error {
	if err := st.client.Ping(ctx).Err(); err != nil {
		return away(err)
	}
	return nil
}

// Close gives all connections back.
func (st *Store) Close() error { return st.client.Close() }

func away(err error) *fault.Error {
	return fault.New(fault.Unavailable, ReasonAway,
		"Redis, which holds the read models, cannot be reached; try again in a moment").Because(err)
}
