package jetstream_test

import (
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"

	"ramprow/internal/platform/embedded"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/jetstream"
)

// serverPatience bounds how long a test waits for servers of its own.
const serverPatience = 10 * time.Second

// listen runs a server that is reached by URL, as one outside is.
func listen(t testing.TB, o *server.Options) *server.Server {
	t.Helper()
	o.Host, o.NoSigs, o.NoLog = "127.0.0.1", true, true
	if o.Port == 0 {
		o.Port = server.RANDOM_PORT
	}
	s, err := server.NewServer(o)
	if err != nil {
		t.Fatal(err)
	}
	s.Start()
	t.Cleanup(func() { embedded.StopNATS(s) })
	return s
}

// dial connects, and fails the test if that does not succeed.
func dial(t testing.TB, o jetstream.Options) *jetstream.Log {
	t.Helper()
	log, err := jetstream.Connect(o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(log.Close)
	return log
}

// refused connects, and fails the test if that succeeds.
func refused(t testing.TB, o jetstream.Options) error {
	t.Helper()
	log, err := jetstream.Connect(o)
	if err == nil {
		log.Close()
		t.Fatal("connected")
	}
	return err
}

// works appends a record and reads it back.
func works(t testing.TB, log *jetstream.Log) {
	t.Helper()
	sequence, err := log.Append(t.Context(), subject, 0, sitelog.Message{Data: []byte("one")})
	if err != nil {
		t.Fatal(err)
	}
	last, err := log.Last(t.Context(), subject)
	if err != nil || last.Sequence != sequence || string(last.Data) != "one" {
		t.Fatalf("the tail is %+v (%v), not %d", last, err, sequence)
	}
}
