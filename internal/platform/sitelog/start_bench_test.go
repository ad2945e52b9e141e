package sitelog_test

import (
	"context"
	"crypto/sha256"
	"fmt"
	"maps"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/anypb"
	"google.golang.org/protobuf/types/known/timestamppb"
	"google.golang.org/protobuf/types/known/wrapperspb"

	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/jetstream"
	"ramprow/internal/platform/sitelog/memory"
	"ramprow/internal/platform/statecode"
	logv1 "ramprow/proto/ramprow/log/v1"
)

// The site that is started: a million events of 300 open jobs, each of which
// holds 100 documents of 200 bytes, so about 6 MB of state.
const (
	startCommits  = 20_000
	startCommands = 10 // per commit
	startEvents   = 5  // per command
	startJobs     = 300
	startDocs     = 100
)

// shelf is the state: documents by job.
type shelf struct {
	Jobs map[uint64][]*wrapperspb.StringValue
}

func shelfMachine() sitelog.Machine[*shelf] {
	return sitelog.Machine[*shelf]{
		Service: "job",
		New:     func(string) *shelf { return &shelf{Jobs: map[uint64][]*wrapperspb.StringValue{}} },
		Evolve: func(s *shelf, e sitelog.Event) {
			doc := e.Message.(*wrapperspb.StringValue)
			var job, at uint64
			_, _ = fmt.Sscanf(doc.GetValue(), "%d %d", &job, &at)
			if s.Jobs[job] == nil {
				s.Jobs[job] = make([]*wrapperspb.StringValue, startDocs)
			}
			s.Jobs[job][at] = doc
		},
		Snapshot: func(s *shelf) func() ([]byte, error) {
			copied := shelf{Jobs: maps.Clone(s.Jobs)}
			for job, docs := range copied.Jobs {
				copied.Jobs[job] = slices.Clone(docs)
			}
			return func() ([]byte, error) { return statecode.Encode(&copied) }
		},
		Restore: func(_ string, data []byte) (*shelf, error) {
			s := &shelf{}
			return s, statecode.Decode(data, s)
		},
		Schema: 1,
	}
}

// writeHistory appends the commits, spread over a time.
func writeHistory(b *testing.B, log sitelog.Log, over time.Duration) {
	b.Helper()
	begin := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	var hash []byte
	var sequence uint64
	event := 0
	filler := strings.Repeat("x", 190)
	for n := range startCommits {
		commit := &logv1.Commit{
			Id: fmt.Sprint("commit-", n), Service: "job", Site: site, Number: uint64(n) + 1, PreviousHash: hash,
			Time: timestamppb.New(begin.Add(over / startCommits * time.Duration(n))),
		}
		for c := range startCommands {
			id := fmt.Sprint("request-", n, "-", c)
			entry := &logv1.Entry{Cause: &logv1.Entry_Command{Command: &logv1.CommandCause{
				Method: "/test.Shelf/Put", RequestId: id, Fingerprint: []byte("0123456789abcdef0123456789abcdef"),
			}}}
			for range startEvents {
				packed, err := anypb.New(wrapperspb.String(fmt.Sprintf("%d %d %s", event%startJobs, event/startJobs%startDocs, filler)))
				if err != nil {
					b.Fatal(err)
				}
				entry.Events = append(entry.Events, packed)
				event++
			}
			commit.Entries = append(commit.Entries, entry)
		}
		data, err := proto.Marshal(commit)
		if err != nil {
			b.Fatal(err)
		}
		if sequence, err = log.Append(context.Background(), jobSubject, sequence, sitelog.Message{Data: data}); err != nil {
			b.Fatal(err)
		}
		sum := sha256.Sum256(data)
		hash = sum[:]
	}
}

// BenchmarkStart measures how long a site takes from nothing to its first
// answer, by the log alone and by a snapshot, with the log of a year and with
// one of four weeks, of which every request is still remembered.
//
//	go test ./internal/platform/sitelog -run '^$' -bench BenchmarkStart -benchtime 3x
func BenchmarkStart(b *testing.B) {
	for _, history := range []struct {
		name string
		over time.Duration
	}{{"year", 365 * 24 * time.Hour}, {"4weeks", 28 * 24 * time.Hour}} {
		log, stop := serve(b, b.TempDir())
		writeHistory(b, log, history.over)
		store := log.(*jetstream.Log).Snapshots()
		b.Run(history.name+"/replay", func(b *testing.B) { startSite(b, log, nil) })
		r := startShelf(b, log, store)
		began := time.Now()
		r.Close()
		size, err := store.Get(b.Context(), jobSubject, shelfMachine().Schema)
		if err != nil {
			b.Fatal(err)
		}
		b.Logf("%s: the snapshot has %d bytes and was written in %v", history.name, len(size), time.Since(began))
		b.Run(history.name+"/snapshot", func(b *testing.B) { startSite(b, log, store) })
		stop()
	}
}

func startSite(b *testing.B, log sitelog.Log, store sitelog.SnapshotStore) {
	for b.Loop() {
		r := startShelf(b, log, store)
		b.StopTimer()
		r.Close()
		b.StartTimer()
	}
}

// startShelf returns when the site has answered.
func startShelf(b *testing.B, log sitelog.Log, store sitelog.SnapshotStore) *sitelog.Runner[*shelf] {
	b.Helper()
	r, err := sitelog.Open(b.Context(), log, shelfMachine(), sitelog.Options{Snapshots: store})
	if err != nil {
		b.Fatal(err)
	}
	if _, err := r.View(b.Context(), site, func(s *shelf) error {
		if len(s.Jobs) != startJobs {
			return fmt.Errorf("%d jobs", len(s.Jobs))
		}
		return nil
	}); err != nil {
		b.Fatal(err)
	}
	return r
}

// BenchmarkMemory measures what a site keeps in memory after a start from a
// snapshot, over the log in memory, because a broker in the process has caches.
func BenchmarkMemory(b *testing.B) {
	log, store := memory.New(), &memory.Snapshots{}
	writeHistory(b, log, 28*24*time.Hour)
	startShelf(b, log, store).Close()
	for b.Loop() {
		idle := heap()
		r := startShelf(b, log, store)
		b.ReportMetric((heap()-idle)/1e6, "heapMB/site")
		r.Close()
	}
}

// heap gives the live bytes.
func heap() float64 {
	runtime.GC()
	runtime.GC() // once more for what pools keep
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return float64(m.HeapAlloc)
}

// BenchmarkCapture measures what a snapshot keeps the writer from, and what is
// done beside it.
func BenchmarkCapture(b *testing.B) {
	log := memory.New()
	writeHistory(b, log, time.Hour)
	s := shelfMachine().New(site)
	err := log.Read(b.Context(), jobSubject, 0, func(r sitelog.Record) error {
		events, err := sitelog.EventsOf(r)
		for _, e := range events {
			shelfMachine().Evolve(s, e)
		}
		return err
	})
	if err != nil {
		b.Fatal(err)
	}
	encode := shelfMachine().Snapshot(s)
	b.Run("capture", func(b *testing.B) {
		for b.Loop() {
			encode = shelfMachine().Snapshot(s)
		}
	})
	b.Run("encode", func(b *testing.B) {
		for b.Loop() {
			if _, err := encode(); err != nil {
				b.Fatal(err)
			}
		}
	})
}
