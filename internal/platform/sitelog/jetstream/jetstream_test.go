package jetstream_test

import (
	"errors"
	"slices"
	"testing"

	"github.com/nats-io/nats-server/v2/server"

	"ramprow/internal/platform/embedded"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/jetstream"
	"ramprow/internal/platform/sitelog/sitelogtest"
)

func start(t testing.TB, dir string) *server.Server {
	t.Helper()
	s, err := embedded.StartNATS(dir, embedded.NATSOptions{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { embedded.StopNATS(s) })
	return s
}

func connect(t testing.TB, s *server.Server) *jetstream.Log {
	t.Helper()
	log, err := jetstream.Connect(jetstream.Options{InProcess: s, Name: t.Name()})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(log.Close)
	return log
}

func TestConformance(t *testing.T) {
	sitelogtest.Run(t, func(t *testing.T) sitelog.Log { return connect(t, start(t, t.TempDir())) })
}

func TestSnapshots(t *testing.T) {
	sitelogtest.RunSnapshots(t, func(t *testing.T) sitelog.SnapshotStore { return connect(t, start(t, t.TempDir())).Snapshots() })
}

var subject = sitelog.Subject{Service: "torque-audit", Site: "main-street"}

func TestNames(t *testing.T) {
	log := connect(t, start(t, t.TempDir()))
	if got := jetstream.StreamName(subject.Service); got != "RAMPROW_TORQUE_AUDIT" {
		t.Errorf("stream %s", got)
	}
	// FNV-1a of main-street, 32 bits, by hand: see TestPartition of sitelog.
	if got, want := log.Subject(subject), "torque-audit."+sitelog.Partition("main-street", 16)+".main-street"; got != want {
		t.Errorf("subject %s, not %s", got, want)
	}
}

func TestRecordsOutliveTheServer(t *testing.T) {
	dir := t.TempDir()
	first := start(t, dir)
	log := connect(t, first)
	sequence, err := log.Append(t.Context(), subject, 0, sitelog.Message{Data: []byte("kept")})
	if err != nil {
		t.Fatal(err)
	}
	log.Close()
	embedded.StopNATS(first)

	again := connect(t, start(t, dir))
	last, err := again.Last(t.Context(), subject)
	if err != nil || last.Sequence != sequence || string(last.Data) != "kept" {
		t.Fatalf("after the restart the tail is %+v, %v", last, err)
	}
}

func TestTooLargeIsRefusedBeforeItIsSent(t *testing.T) {
	log := connect(t, start(t, t.TempDir()))
	_, err := log.Append(t.Context(), subject, 0, sitelog.Message{Data: make([]byte, 9<<20)})
	if _, ok := errors.AsType[*jetstream.TooLargeError](err); !ok || !errors.Is(err, sitelog.ErrTooLarge) {
		t.Fatalf("append gives %v", err)
	}
}

func TestAnAbsentServerLeavesTheOutcomeOpen(t *testing.T) {
	s := start(t, t.TempDir())
	log := connect(t, s)
	sequence, err := log.Append(t.Context(), subject, 0, sitelog.Message{Data: []byte("one")})
	if err != nil {
		t.Fatal(err)
	}
	embedded.StopNATS(s)
	if _, err := log.Append(t.Context(), subject, sequence, sitelog.Message{Data: []byte("two")}); !errors.Is(err, sitelog.ErrUnknownOutcome) {
		t.Errorf("append gives %v", err)
	}
	if err := log.Ready(t.Context()); err == nil {
		t.Error("the log says that it is ready")
	}
}

func TestOptionsAreChecked(t *testing.T) {
	for name, o := range map[string]jetstream.Options{
		"no server":               {},
		"certificate without key": {URL: "nats://127.0.0.1:1", CertFile: "x.pem"},
		"nobody listens":          {URL: "nats://127.0.0.1:1"},
	} {
		if log, err := jetstream.Connect(o); err == nil {
			log.Close()
			t.Errorf("%s: connected", name)
		}
	}
}

func TestRawPublisher(t *testing.T) {
	log := connect(t, start(t, t.TempDir()))
	raw, err := log.NewRawPublisher(t.Context(), 100)
	if err != nil {
		t.Fatal(err)
	}
	if err := raw.Run(t.Context(), 4, 20); err != nil {
		t.Error(err)
	}
	if err := raw.Close(t.Context()); err != nil {
		t.Error(err)
	}
	if err := raw.Close(t.Context()); err != nil {
		t.Errorf("closing again: %v", err)
	}
}

func TestKnownSites(t *testing.T) {
	log := connect(t, start(t, t.TempDir()))
	if sites, err := log.KnownSites(t.Context(), "job"); err != nil || len(sites) != 0 {
		t.Errorf("nobody has a log, and %v have (%v)", sites, err)
	}
	for _, site := range []string{"south", "north"} {
		if _, err := log.Append(t.Context(), sitelog.Subject{Service: "job", Site: site}, 0, sitelog.Message{Data: []byte("x")}); err != nil {
			t.Fatal(err)
		}
	}
	if sites, err := log.KnownSites(t.Context(), "job"); err != nil || !slices.Equal(sites, []string{"north", "south"}) {
		t.Errorf("the sites are %v (%v)", sites, err)
	}
}
