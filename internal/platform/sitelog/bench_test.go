package sitelog_test

import (
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/wrapperspb"

	"ramprow/internal/platform/embedded"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/jetstream"
)

// tally only counts, so that the benchmark measures the runner and not a state.
type tally struct{ n int64 }

func tallyMachine() sitelog.Machine[*tally] {
	return sitelog.Machine[*tally]{
		Service: "job",
		New:     func(string) *tally { return &tally{} },
		Evolve:  func(s *tally, _ sitelog.Event) { s.n++ },
	}
}

func count(requestID string) sitelog.Command[*tally] {
	return sitelog.Command[*tally]{
		Method:    "/test.Tally/Count",
		RequestID: requestID,
		Request:   wrapperspb.String("left front wheel, four nuts, first pass"),
		Actor:     sitelog.Actor{Person: "ada", Roles: []string{"ROLE_TECHNICIAN"}},
		Decide: func(s *tally, _ sitelog.Input) (sitelog.Decision, error) {
			return sitelog.Decision{
				Events:   []proto.Message{wrapperspb.String("left front wheel, four nuts, first pass")},
				Response: wrapperspb.Int64(s.n + 1),
			}, nil
		},
	}
}

// BenchmarkRunner compares commands through the runner with synchronous
// publishes of 400 bytes, on one embedded server that syncs every write. The
// metric x-raw is commands per second over raw publishes per second.
func BenchmarkRunner(b *testing.B) {
	server, err := embedded.StartNATS(b.TempDir(), embedded.NATSOptions{})
	if err != nil {
		b.Fatal(err)
	}
	defer embedded.StopNATS(server)
	log, err := jetstream.Connect(jetstream.Options{InProcess: server})
	if err != nil {
		b.Fatal(err)
	}
	defer log.Close()
	r, err := sitelog.Open(b.Context(), log, tallyMachine(), sitelog.Options{})
	if err != nil {
		b.Fatal(err)
	}
	defer r.Close()
	raw, err := log.NewRawPublisher(b.Context(), 400)
	if err != nil {
		b.Fatal(err)
	}
	round := 0
	for _, callers := range []int{1, 16, 64} {
		b.Run(fmt.Sprintf("callers=%d", callers), func(b *testing.B) {
			round++
			before := commitsSoFar(b, r)
			b.ReportAllocs()
			b.ResetTimer()
			var left atomic.Int64
			left.Store(int64(b.N))
			var wg sync.WaitGroup
			for c := range callers {
				wg.Go(func() {
					for n := left.Add(-1); n >= 0; n = left.Add(-1) {
						if _, err := r.Do(b.Context(), site, count(fmt.Sprintf("req-%d-%d-%d", round, c, n))); err != nil {
							b.Error(err)
							return
						}
					}
				})
			}
			wg.Wait()
			b.StopTimer()
			perSecond := float64(b.N) / b.Elapsed().Seconds()
			rawPerSecond := measureRaw(b, raw, callers)
			b.ReportMetric(perSecond, "cmd/s")
			b.ReportMetric(float64(b.N)/float64(commitsSoFar(b, r)-before), "cmd/commit")
			b.ReportMetric(rawPerSecond, "raw/s")
			b.ReportMetric(perSecond/rawPerSecond, "x-raw")
		})
	}
}

func measureRaw(b *testing.B, raw *jetstream.RawPublisher, callers int) float64 {
	const messages = 1000
	began := time.Now()
	if err := raw.Run(b.Context(), callers, messages); err != nil {
		b.Fatal(err)
	}
	return messages / time.Since(began).Seconds()
}

func commitsSoFar(b *testing.B, r *sitelog.Runner[*tally]) uint64 {
	d, err := r.Describe(b.Context(), site)
	if err != nil {
		b.Fatal(err)
	}
	return d.Commits
}
