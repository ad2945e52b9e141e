// Package metrics counts what a process does, for Prometheus to fetch. Labels take
// their values from small sets that are known beforehand: methods, status codes,
// services. What is costly to know is asked for when somebody fetches, and not
// while work is done. A nil *Metrics counts nothing and costs nothing.
package metrics

import (
	"context"
	"net/http"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
	"google.golang.org/grpc/codes"
)

// Metrics is what one process counts.
type Metrics struct {
	registry *prometheus.Registry
	calls    *prometheus.HistogramVec
	streams  *prometheus.GaugeVec
	commits  *prometheus.HistogramVec
	decided  *prometheus.CounterVec
}

// fetchTime bounds what is asked for when somebody fetches.
const fetchTime = 5 * time.Second

// New makes the metrics of a process: those of Go itself are there from the start.
func New() *Metrics {
	m := &Metrics{
		registry: prometheus.NewRegistry(),
		calls: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name: "ramprow_call_seconds", Help: "Time of calls that were answered, by service, method and status code.",
			Buckets: []float64{.0005, .001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 5, 10},
		}, []string{"service", "method", "code"}),
		streams: prometheus.NewGaugeVec(prometheus.GaugeOpts{
			Name: "ramprow_streams_open", Help: "Streams that somebody listens to, by service and method.",
		}, []string{"service", "method"}),
		commits: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name: "ramprow_commit_seconds", Help: "Time until a commit was on disk, by service.",
			Buckets: []float64{.00025, .0005, .001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 5},
		}, []string{"service"}),
		decided: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "ramprow_decisions_total", Help: "Decisions, reactions and timers that were committed, by service.",
		}, []string{"service"}),
	}
	m.registry.MustRegister(m.calls, m.streams, m.commits, m.decided,
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return m
}

// Called counts a call that was answered. The method must be one that a server
// offers; a code that gRPC does not know counts as Unknown.
func (m *Metrics) Called(service, method string, code codes.Code, took time.Duration) {
	if m == nil {
		return
	}
	if code > codes.Unauthenticated {
		code = codes.Unknown
	}
	m.calls.WithLabelValues(service, method, code.String()).Observe(took.Seconds())
}

// Streaming counts a stream until the function that it gives is called.
func (m *Metrics) Streaming(service, method string) (ended func()) {
	if m == nil {
		return func() {}
	}
	open := m.streams.WithLabelValues(service, method)
	open.Inc()
	return open.Dec
}

// Committed counts a commit that is on disk.
func (m *Metrics) Committed(service string, took time.Duration, decisions int) {
	if m != nil {
		m.commits.WithLabelValues(service).Observe(took.Seconds())
		m.decided.WithLabelValues(service).Add(float64(decisions))
	}
}

// Measure is asked for when somebody fetches.
type Measure struct {
	Name, Help string
	// Labels are fixed, as in service: job.
	Labels map[string]string
	// Counts says that the value only grows while the process lives.
	Counts bool
	// Read gives the value. With an error the measure is left out, so that nobody
	// takes an old value for a new one.
	Read func(ctx context.Context) (float64, error)
}

// Add takes measures. A name with labels that is there already is a defect, and panics.
func (m *Metrics) Add(measures ...Measure) {
	if m == nil {
		return
	}
	for _, one := range measures {
		kind := prometheus.GaugeValue
		if one.Counts {
			kind = prometheus.CounterValue
		}
		m.registry.MustRegister(asked{desc: prometheus.NewDesc(one.Name, one.Help, nil, one.Labels), kind: kind, read: one.Read})
	}
}

// asked is a Measure as Prometheus collects it.
type asked struct {
	desc *prometheus.Desc
	kind prometheus.ValueType
	read func(ctx context.Context) (float64, error)
}

// Describe implements prometheus.Collector.
func (a asked) Describe(out chan<- *prometheus.Desc) { out <- a.desc }

// Collect implements prometheus.Collector.
func (a asked) Collect(out chan<- prometheus.Metric) {
	ctx, cancel := context.WithTimeout(context.Background(), fetchTime)
	defer cancel()
	if value, err := a.read(ctx); err == nil {
		out <- prometheus.MustNewConstMetric(a.desc, a.kind, value)
	}
}

// Handler answers whoever fetches.
func (m *Metrics) Handler() http.Handler {
	return promhttp.HandlerFor(m.registry, promhttp.HandlerOpts{MaxRequestsInFlight: 4, Timeout: 2 * fetchTime})
}
