package metrics_test

import (
	"context"
	"errors"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"

	"ramprow/internal/platform/metrics"
)

// fetch gives what Prometheus would read.
func fetch(t *testing.T, m *metrics.Metrics) string {
	t.Helper()
	answer := httptest.NewRecorder()
	m.Handler().ServeHTTP(answer, httptest.NewRequestWithContext(t.Context(), http.MethodGet, "/metrics", nil))
	if answer.Code != http.StatusOK {
		t.Fatalf("status %d: %s", answer.Code, answer.Body)
	}
	return answer.Body.String()
}

func TestWhatIsCounted(t *testing.T) {
	m := metrics.New()
	m.Called("job", "S/M", codes.OK, 3*time.Millisecond)
	m.Called("job", "S/M", codes.Code(77), time.Millisecond)
	m.Called("job", "S/M", codes.Code(78), time.Millisecond)
	m.Committed("job", time.Millisecond, 5)
	ended := m.Streaming("job", "S/W")
	m.Streaming("job", "S/W")
	ended()
	m.Add(
		metrics.Measure{Name: "probe_known", Help: "h", Labels: map[string]string{"service": "job"}, Read: func(context.Context) (float64, error) { return 7, nil }},
		metrics.Measure{Name: "probe_known", Help: "h", Labels: map[string]string{"service": "desk"}, Read: func(context.Context) (float64, error) { return 8, nil }},
		metrics.Measure{Name: "probe_unknown", Help: "h", Read: func(context.Context) (float64, error) { return 1, errors.New("nobody answers") }},
		metrics.Measure{Name: "probe_total", Help: "h", Counts: true, Read: func(context.Context) (float64, error) { return 9, nil }},
	)
	text := fetch(t, m)
	for _, want := range []string{
		`ramprow_call_seconds_count{code="OK",method="S/M",service="job"} 1`,
		`ramprow_call_seconds_bucket{code="OK",method="S/M",service="job",le="0.0025"} 0`,
		`ramprow_call_seconds_bucket{code="OK",method="S/M",service="job",le="0.005"} 1`,
		`ramprow_call_seconds_count{code="Unknown",method="S/M",service="job"} 2`,
		`ramprow_commit_seconds_count{service="job"} 1`,
		`ramprow_decisions_total{service="job"} 5`,
		`ramprow_streams_open{method="S/W",service="job"} 1`,
		`probe_known{service="desk"} 8`,
		`probe_known{service="job"} 7`,
		"# TYPE probe_known gauge",
		"# TYPE probe_total counter",
		"go_goroutines ",
	} {
		if !strings.Contains(text, want+"\n") && !strings.Contains(text, "\n"+want) {
			t.Errorf("there is no %s", want)
		}
	}
	if strings.Contains(text, "probe_unknown") {
		t.Error("a measure that could not be read is told")
	}
}

// Who does not count pays nothing and need not ask.
func TestNobodyCounts(t *testing.T) {
	var m *metrics.Metrics
	if n := testing.AllocsPerRun(100, func() {
		m.Called("job", "S/M", codes.OK, time.Second)
		m.Committed("job", time.Second, 1)
		m.Add(metrics.Measure{})
		m.Streaming("job", "S/M")()
	}); n != 0 {
		t.Errorf("%g allocations", n)
	}
}

func BenchmarkCalled(b *testing.B) {
	m := metrics.New()
	b.ReportAllocs()
	b.RunParallel(func(p *testing.PB) {
		for p.Next() {
			m.Called("job", "ramprow.job.v1.JobService/StartStep", codes.OK, time.Millisecond)
		}
	})
}
