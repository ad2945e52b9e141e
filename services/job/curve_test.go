package job

import (
	"os"
	"runtime"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"ramprow/internal/platform/sitelog"
)

// The curve of memory over finished jobs, measured by hand:
//
//	RAMPROW_CURVE=1 go test ./services/job -run TestMemoryCurve -v -timeout 20m
//
// Every job goes the demo's whole way to the invoice, 20 a day; 300 stay open.
func TestMemoryCurve(t *testing.T) {
	if os.Getenv("RAMPROW_CURVE") == "" {
		t.Skip("set RAMPROW_CURVE=1 to measure")
	}
	way := proved(t, "follower-4")
	if _, err := way.close(job1); err != nil {
		t.Fatal(err)
	}
	var events []proto.Message
	for _, e := range way.log {
		if _, ok := e.Message.(ofJob); ok {
			events = append(events, e.Message)
		}
	}
	way.log = nil
	s := newSite(t)
	s.log = nil
	number, commits := uint64(0), uint64(0)
	apply := func(m proto.Message) {
		commits++
		evolve(s.st, sitelog.Event{Message: m, Site: "north", Time: s.now, Number: commits})
	}
	live := func(events []proto.Message) {
		number++
		for _, m := range events {
			m = proto.Clone(m)
			r := m.ProtoReflect()
			r.Set(r.Descriptor().Fields().ByName("job"), protoreflect.ValueOfString(jobName(number)))
			apply(m)
		}
	}
	for range 300 {
		live(events[:len(events)-1])
	}
	finished := 0
	for _, goal := range []int{0, 1_000, 10_000, 100_000} {
		for ; finished < goal; finished++ {
			if live(events); finished%20 != 19 {
				continue
			}
			end := s.now.Add(24 * time.Hour)
			for at, pending := due(s.st); pending && !at.After(end); at, pending = due(s.st) {
				s.now = at
				archived, err := fire(s.st, s.input())
				if err != nil {
					t.Fatal(err)
				}
				for _, m := range archived {
					apply(m)
				}
			}
			s.now = end
		}
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		filed, _ := s.st.shelf.Len()
		t.Logf("%6d finished: %d jobs in the state, %d archived, heap %.1f MB, %d events each", finished, len(s.st.jobs), filed, float64(m.HeapAlloc)/(1<<20), len(events))
	}
}
