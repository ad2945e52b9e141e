package memory_test

import (
	"context"
	"errors"
	"testing"

	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/memory"
	"ramprow/internal/platform/sitelog/sitelogtest"
)

func TestConformance(t *testing.T) {
	sitelogtest.Run(t, func(*testing.T) sitelog.Log { return memory.New() })
}

var subject = sitelog.Subject{Service: "job", Site: "main-street"}

func TestEffects(t *testing.T) {
	for _, c := range []struct {
		name   string
		effect memory.Effect
		err    error
		stored bool
	}{
		{"pass", memory.Effect{}, nil, true},
		{"conflict", memory.Conflict(), sitelog.ErrConflict, false},
		{"lost answer", memory.LostAnswer(), sitelog.ErrUnknownOutcome, true},
		{"lost message", memory.LostMessage(), sitelog.ErrUnknownOutcome, false},
		{"away", memory.Away(), memory.ErrAway, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			log := memory.New()
			log.SetHook(func(_ context.Context, op memory.Operation, _ sitelog.Subject) memory.Effect {
				if op == memory.Append {
					return c.effect
				}
				return memory.Effect{}
			})
			_, err := log.Append(t.Context(), subject, 0, sitelog.Message{Data: []byte("x")})
			if !errors.Is(err, c.err) {
				t.Errorf("append gives %v", err)
			}
			last, err := log.Last(t.Context(), subject)
			if err != nil || (last.Sequence == 1) != c.stored {
				t.Errorf("the tail is %d, %v", last.Sequence, err)
			}
		})
	}
}

func TestTamperAndRemove(t *testing.T) {
	log := memory.New()
	for i := range uint64(3) {
		if _, err := log.Append(t.Context(), subject, i, sitelog.Message{Data: []byte{byte(i)}}); err != nil {
			t.Fatal(err)
		}
	}
	if !log.Tamper(subject, 2, func(r *sitelog.Record) { r.Data[0] = 9 }) || log.Tamper(subject, 7, func(*sitelog.Record) {}) {
		t.Error("tamper misjudges which record is there")
	}
	log.Remove(subject, 1)
	var data []byte
	if err := log.Read(t.Context(), subject, 0, func(r sitelog.Record) error {
		data = append(data, r.Data...)
		return nil
	}); err != nil || string(data) != "\x09\x02" {
		t.Errorf("left is %v, %v", data, err)
	}
}

func TestSnapshots(t *testing.T) {
	sitelogtest.RunSnapshots(t, func(*testing.T) sitelog.SnapshotStore { return &memory.Snapshots{} })
}
