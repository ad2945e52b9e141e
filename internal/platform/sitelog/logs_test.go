package sitelog_test

import (
	"context"
	"sync"
	"testing"

	"ramprow/internal/platform/embedded"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/jetstream"
	"ramprow/internal/platform/sitelog/memory"
)

// eachLog runs a test on the log in memory and on a real server.
func eachLog(t *testing.T, test func(t *testing.T, log sitelog.Log)) {
	t.Run("memory", func(t *testing.T) { test(t, memory.New()) })
	t.Run("jetstream", func(t *testing.T) {
		log, stop := serve(t, t.TempDir())
		t.Cleanup(stop)
		test(t, log)
	})
}

// serve runs a NATS server on a folder, until stop or the end of the test.
func serve(t testing.TB, dir string) (log sitelog.Log, stop func()) {
	t.Helper()
	server, err := embedded.StartNATS(dir, embedded.NATSOptions{})
	if err != nil {
		t.Fatal(err)
	}
	l, err := jetstream.Connect(jetstream.Options{InProcess: server})
	if err != nil {
		t.Fatal(err)
	}
	return l, sync.OnceFunc(func() {
		l.Close()
		embedded.StopNATS(server)
	})
}

// meddled lets a test stand between a runner and its log.
type meddled struct {
	sitelog.Log
	mu     sync.Mutex
	append func(n int, pass func() (uint64, error)) (uint64, error) // n counts from 1
	read   func() error
	calls  int
}

func (m *meddled) Append(ctx context.Context, s sitelog.Subject, expected uint64, msg sitelog.Message) (uint64, error) {
	m.mu.Lock()
	m.calls++
	n, meddle := m.calls, m.append
	m.mu.Unlock()
	pass := func() (uint64, error) { return m.Log.Append(ctx, s, expected, msg) }
	if meddle == nil {
		return pass()
	}
	return meddle(n, pass)
}

func (m *meddled) Read(ctx context.Context, s sitelog.Subject, after uint64, fn func(sitelog.Record) error) error {
	m.mu.Lock()
	meddle := m.read
	m.mu.Unlock()
	if meddle != nil {
		if err := meddle(); err != nil {
			return err
		}
	}
	return m.Log.Read(ctx, s, after, fn)
}

func (m *meddled) set(onAppend func(int, func() (uint64, error)) (uint64, error), onRead func() error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.append, m.read = onAppend, onRead
}
