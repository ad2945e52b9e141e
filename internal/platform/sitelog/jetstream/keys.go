package jetstream

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"ramprow/internal/platform/personal"
)

const (
	keyService = "keys"
	// destroyedSubject is where a destruction is told to whoever listens; nothing of it is kept.
	destroyedSubject = "keys-destroyed"
)

// Keys is a personal.Store over a stream of its own, RAMPROW_KEYS, with one
// message for each key, keys.<site>.<id>. It is a file, replicated as the logs
// are. Unlike a log it may be deleted from: the server then overwrites the bytes.
// A destroyed key leaves an empty message, so that it is not made again.
type Keys struct{ log *Log }

var _ personal.Store = Keys{}

// Keys gives the store beside the log.
func (l *Log) Keys() personal.Store { return Keys{log: l} }

// Get implements personal.Store.
func (k Keys) Get(ctx context.Context, name personal.Name) ([]byte, error) {
	raw, err := k.last(ctx, name)
	switch {
	case err != nil:
		return nil, err
	case len(raw.Data) == 0:
		return nil, personal.ErrDestroyed
	}
	return raw.Data, nil
}

func (k Keys) last(ctx context.Context, name personal.Name) (*jetstream.RawStreamMsg, error) {
	stream, err := k.stream(ctx)
	if err != nil {
		return nil, err
	}
	var raw *jetstream.RawStreamMsg
	err = k.log.ask(ctx, StreamName(keyService), func(ctx context.Context) (err error) {
		raw, err = stream.GetLastMsgForSubject(ctx, keySubject(keyService, name))
		return err
	})
	if errors.Is(err, jetstream.ErrMsgNotFound) {
		return nil, personal.ErrNone
	}
	if err != nil {
		return nil, fmt.Errorf("read a key: %w", err)
	}
	return raw, nil
}

// Create implements personal.Store.
func (k Keys) Create(ctx context.Context, name personal.Name, secret []byte) error {
	if _, err := k.stream(ctx); err != nil {
		return err
	}
	message := nats.NewMsg(keySubject(keyService, name))
	message.Data = secret
	err := k.log.ask(ctx, message.Subject, func(ctx context.Context) error {
		_, err := k.log.js.PublishMsg(ctx, message, jetstream.WithExpectLastSequencePerSubject(0))
		return err
	})
	switch {
	case isLostRace(err):
		return personal.ErrExists
	case err != nil:
		return fmt.Errorf("write a key: %w", err)
	}
	return nil
}

// Destroy implements personal.Store: the bytes are overwritten first. Whoever is
// killed after that leaves no key behind, and the next try notes it.
func (k Keys) Destroy(ctx context.Context, name personal.Name) error {
	raw, err := k.last(ctx, name)
	if err != nil && !errors.Is(err, personal.ErrNone) {
		return err
	}
	if err == nil && len(raw.Data) > 0 {
		stream, err := k.stream(ctx)
		if err != nil {
			return err
		}
		err = k.log.ask(ctx, StreamName(keyService), func(ctx context.Context) error {
			return stream.SecureDeleteMsg(ctx, raw.Sequence)
		})
		if err != nil && !errors.Is(err, jetstream.ErrMsgDeleteUnsuccessful) {
			return fmt.Errorf("overwrite a key: %w", err)
		}
	}
	if err := k.bury(ctx, name); err != nil {
		return err
	}
	if err := k.log.nc.Publish(keySubject(destroyedSubject, name), nil); err != nil {
		return fmt.Errorf("tell that a key is destroyed: %w", err)
	}
	return nil
}

// bury notes that a key was destroyed, unless that is noted.
func (k Keys) bury(ctx context.Context, name personal.Name) error {
	raw, err := k.last(ctx, name)
	switch {
	case errors.Is(err, personal.ErrNone):
		if err = k.Create(ctx, name, nil); errors.Is(err, personal.ErrExists) {
			return fmt.Errorf("somebody writes the same key: %w", err)
		}
		return err
	case err == nil && len(raw.Data) > 0:
		return errors.New("the key is still there after it was overwritten")
	}
	return err
}

// Watch implements personal.Store.
func (k Keys) Watch(ctx context.Context, ready func(), destroyed func(personal.Name)) error {
	nc := k.log.nc
	back := nc.StatusChanged(nats.CONNECTED, nats.RECONNECTING, nats.CLOSED)
	defer nc.RemoveStatusListener(back)
	news := make(chan *nats.Msg, watchBacklog)
	subscription, err := nc.ChanSubscribe(destroyedSubject+".*.*", news)
	if err != nil {
		return fmt.Errorf("listen for destroyed keys: %w", err)
	}
	defer func() { _ = subscription.Unsubscribe() }() // fails only on a connection that is closed
	setup, cancel := context.WithTimeout(ctx, k.log.o.Timeout)
	defer cancel()
	if err := nc.FlushWithContext(setup); err != nil {
		return fmt.Errorf("listen for destroyed keys: %w", err)
	}
	ready()
	for {
		select {
		case m := <-news:
			_, name, _ := strings.Cut(m.Subject, ".")
			site, id, _ := strings.Cut(name, ".")
			destroyed(personal.Name{Site: site, ID: id})
		case <-back:
			return errReconnected
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// watchBacklog is how many destructions may wait to be heard of.
const watchBacklog = 1024

// keySubject is as in keys.main-street.j17. Sites and ids have no points in them.
func keySubject(first string, name personal.Name) string {
	return first + "." + name.Site + "." + name.ID
}

// stream opens the stream, and makes it if it is not there.
func (k Keys) stream(ctx context.Context) (jetstream.Stream, error) {
	return k.log.stream(ctx, keyService)
}

// keyStreamConfig is not a log's: what is deleted must be gone.
func (l *Log) keyStreamConfig() jetstream.StreamConfig {
	return jetstream.StreamConfig{
		Name:              StreamName(keyService),
		Description:       "Keys of personal data, one subject each; without them it cannot be read",
		Subjects:          []string{keyService + ".*.*"},
		Retention:         jetstream.LimitsPolicy,
		Storage:           jetstream.FileStorage,
		Discard:           jetstream.DiscardNew,
		MaxMsgsPerSubject: 1,
		Replicas:          l.o.Replicas,
		DenyPurge:         true,
		AllowDirect:       l.o.Replicas == 1,
	}
}
