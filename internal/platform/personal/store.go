package personal

import (
	"context"
	"errors"
)

// What a store says of a key that it does not give.
var (
	// ErrNone: there is none of this name, and there was none as far as the store knows.
	ErrNone = errors.New("there is no such key")
	// ErrDestroyed: there was one, and it was destroyed.
	ErrDestroyed = errors.New("the key was destroyed")
	// ErrExists: somebody else was first to make one, or it was destroyed.
	ErrExists = errors.New("there is such a key already")
)

// Name is whose key it is.
type Name struct {
	Site string
	// ID is unique within the site: letters, digits and hyphens.
	ID string
}

// Store keeps keys beside the logs, replicated as they are and not in them.
type Store interface {
	// Get gives a key; ErrNone or ErrDestroyed if there is none.
	Get(ctx context.Context, name Name) ([]byte, error)
	// Create keeps a new key on disk; ErrExists if the name was used before.
	Create(ctx context.Context, name Name, secret []byte) error
	// Destroy overwrites a key and keeps that it was destroyed. Once more does no harm.
	Destroy(ctx context.Context, name Name) error
	// Watch calls ready once it would hear of every destruction, and then destroyed for
	// each. It ends with ctx, or with an error when it may have missed one.
	Watch(ctx context.Context, ready func(), destroyed func(Name)) error
}
