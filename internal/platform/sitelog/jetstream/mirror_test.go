package jetstream_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	natsjs "github.com/nats-io/nats.go/jetstream"

	"ramprow/internal/platform/sitelog"
)

// A log that is lost comes back from its mirror with every sequence as it was,
// by the steps of deploy/RECOVERY.md, and goes on.
func TestALogComesBackFromItsMirror(t *testing.T) {
	server := start(t, t.TempDir())
	log := connect(t, server)
	nc, err := nats.Connect("", nats.InProcessServer(server))
	if err != nil {
		t.Fatal(err)
	}
	defer nc.Close()
	js, err := natsjs.New(nc)
	if err != nil {
		t.Fatal(err)
	}
	var sequence uint64
	for n := range 20 {
		message := sitelog.Message{Header: map[string]string{"ce-id": fmt.Sprint(n)}, Data: fmt.Appendf(nil, "commit %d", n)}
		if sequence, err = log.Append(t.Context(), subject, sequence, message); err != nil {
			t.Fatal(err)
		}
	}
	before := recordsOf(t, log)
	const name, copied = "RAMPROW_TORQUE_AUDIT", "RAMPROW_TORQUE_AUDIT_COPY"
	original, err := js.Stream(t.Context(), name)
	if err != nil {
		t.Fatal(err)
	}
	config := original.CachedInfo().Config
	mirror := func(of, as string) {
		t.Helper()
		stream, err := js.CreateStream(t.Context(), mirrorConfig(of, as))
		if err != nil {
			t.Fatal(err)
		}
		for tick := time.NewTicker(5 * time.Millisecond); ; <-tick.C {
			info, err := stream.Info(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			if info.State.LastSeq == sequence {
				tick.Stop()
				return
			}
		}
	}
	mirror(name, copied)
	if err := js.DeleteStream(t.Context(), name); err != nil {
		t.Fatal(err)
	}
	// A mirror may not be mirrored by what it mirrors: it becomes a stream first.
	alone := mirrorConfig(name, copied)
	alone.Mirror = nil
	if _, err := js.UpdateStream(t.Context(), alone); err != nil {
		t.Fatalf("part the copy from what is gone: %v", err)
	}
	mirror(copied, name)
	if _, err := js.UpdateStream(t.Context(), config); err != nil {
		t.Fatalf("make the mirror a log of its own: %v", err)
	}

	log = connect(t, server) // what served the log is started again
	if after := recordsOf(t, log); after != before {
		t.Errorf("the log came back as %s, and was %s", after, before)
	}
	if next, err := log.Append(t.Context(), subject, sequence, sitelog.Message{Data: []byte("on")}); err != nil || next != sequence+1 {
		t.Errorf("it goes on at %d (%v), not %d", next, err, sequence+1)
	}
}

func mirrorConfig(of, as string) natsjs.StreamConfig {
	return natsjs.StreamConfig{
		Name: as, Mirror: &natsjs.StreamSource{Name: of}, Storage: natsjs.FileStorage, DenyDelete: true, DenyPurge: true,
	}
}

func recordsOf(t *testing.T, log sitelog.Log) (all string) {
	t.Helper()
	if err := log.Read(t.Context(), subject, 0, func(r sitelog.Record) error {
		all += fmt.Sprintf("%d %v %s; ", r.Sequence, r.Header, r.Data)
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return all
}
