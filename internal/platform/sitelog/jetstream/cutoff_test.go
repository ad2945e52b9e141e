package jetstream_test

import (
	"context"
	"io"
	"net"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"

	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/jetstream"
)

// wire is between a client and a server. It can swallow what the client sends,
// and be cut.
type wire struct {
	listener net.Listener
	to       string
	swallows chan struct{} // closed once something has been swallowed

	mu        sync.Mutex
	swallow   bool
	once      sync.Once
	connected []net.Conn
}

func newWire(t *testing.T, s *server.Server) *wire {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	w := &wire{listener: l, to: s.Addr().String(), swallows: make(chan struct{})}
	go w.accept()
	t.Cleanup(func() { _ = l.Close(); w.cut() })
	return w
}

func (w *wire) accept() {
	for {
		client, err := w.listener.Accept()
		if err != nil {
			return
		}
		upstream, err := net.Dial("tcp", w.to)
		if err != nil {
			_ = client.Close()
			continue
		}
		w.mu.Lock()
		w.connected = append(w.connected, client, upstream)
		w.mu.Unlock()
		go func() { _, _ = io.Copy(client, upstream) }()
		go func() { _, _ = io.Copy(writer(func(b []byte) (int, error) { return w.forward(upstream, b) }), client) }()
	}
}

type writer func([]byte) (int, error)

// Write implements io.Writer.
func (w writer) Write(b []byte) (int, error) { return w(b) }

func (w *wire) forward(upstream net.Conn, b []byte) (int, error) {
	w.mu.Lock()
	swallow := w.swallow
	w.mu.Unlock()
	if swallow {
		w.once.Do(func() { close(w.swallows) })
		return len(b), nil
	}
	return upstream.Write(b)
}

func (w *wire) set(swallow bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.swallow = swallow
}

func (w *wire) cut() {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, c := range w.connected {
		_ = c.Close()
	}
	w.connected = nil
}

// A request whose answer is lost with the connection ends with it, however much
// time it has: a snapshot's would keep its site from writing for half a minute.
func TestARequestEndsWithItsConnection(t *testing.T) {
	s := listen(t, &server.Options{JetStream: true, StoreDir: t.TempDir()})
	snapshot := []byte("a state")
	for name, request := range map[string]func(context.Context, *jetstream.Log, *jetstream.Snapshots) error{
		"the log's tail": func(ctx context.Context, log *jetstream.Log, _ *jetstream.Snapshots) error {
			_, err := log.Last(ctx, subject)
			return err
		},
		"an append": func(ctx context.Context, log *jetstream.Log, _ *jetstream.Snapshots) error {
			_, err := log.Append(ctx, subject, 0, sitelog.Message{Data: []byte("two")})
			return err
		},
		"a snapshot": func(ctx context.Context, _ *jetstream.Log, snapshots *jetstream.Snapshots) error {
			_, err := snapshots.Get(ctx, subject, 1)
			return err
		},
	} {
		t.Run(name, func(t *testing.T) {
			w := newWire(t, s)
			log := dial(t, jetstream.Options{URL: "nats://" + w.listener.Addr().String(), Timeout: time.Hour})
			snapshots := log.Snapshots()
			if _, err := log.Last(t.Context(), subject); err != nil { // opens the stream
				t.Fatal(err)
			}
			if err := snapshots.Put(t.Context(), subject, 1, snapshot); err != nil {
				t.Fatal(err)
			}
			w.set(true)
			ended := make(chan error, 1)
			// The snapshot's own patience is shorter than a test's: it must not be what ends it.
			ctx, cancel := context.WithCancel(t.Context())
			defer cancel()
			go func() { ended <- request(ctx, log, snapshots) }()
			<-w.swallows
			w.set(false)
			w.cut()
			select {
			case err := <-ended:
				if err == nil {
					t.Error("it was answered, though nobody was asked")
				}
			case <-time.After(serverPatience):
				t.Fatal("it goes on waiting for an answer that cannot come")
			}
			until(t, "the connection works again", func() bool {
				_, err := log.Last(t.Context(), subject)
				return err == nil
			})
		})
	}
}
