package bench

import (
	"runtime"
	"time"
)

// Report is what a run has found. Rates are per second, latencies milliseconds.
type Report struct {
	Processors   int         `json:"processors"`
	Command      string      `json:"command"`
	Rounds       int         `json:"rounds"`
	RoundSeconds float64     `json:"round_seconds"`
	Places       []*Measured `json:"places"`
	Aims         []Aim       `json:"aims"` // those whose figures were asked for
}

// Measured is what was found at one place.
type Measured struct {
	Place        string       `json:"place"`
	PayloadBytes int          `json:"broker_payload_bytes"`
	Throughput   []Throughput `json:"throughput"`
	Log          Counted      `json:"log"`
	Diagnosis    *Diagnosis   `json:"diagnosis_to_bay,omitempty"`
	Division     []Division   `json:"division"`
}

// Throughput is one number of callers at one number of sites: medians over the rounds.
type Throughput struct {
	Callers  int     `json:"callers"`
	Sites    int     `json:"sites"`
	Commands Figures `json:"commands"`
	Broker   Figures `json:"broker"`
	Bare     Figures `json:"bare_call"`
	// TimesBroker and OfBare are the commands' rate as a multiple of the others'.
	TimesBroker float64 `json:"times_broker"`
	OfBare      float64 `json:"of_bare_call"`
	// Slower is the commands' median latency as a multiple of the broker's and the
	// bare call's together.
	Slower float64 `json:"times_broker_and_bare_latency"`
}

// Figures of one leg.
type Figures struct {
	PerSecond float64 `json:"per_second"`
	P50       float64 `json:"p50_ms"`
	P95       float64 `json:"p95_ms"`
	P99       float64 `json:"p99_ms"`
	// What this process spent on each.
	Bytes  float64 `json:"bytes"`
	Allocs float64 `json:"allocations"`
	CPU    float64 `json:"cpu_us"`
}

// Diagnosis is the time from the call of ConfirmDiagnosis to the booking on the board.
type Diagnosis struct {
	Asked int `json:"asked"`
	Jobs  int `json:"jobs"`
	// OnBoard is how many other jobs have a bay meanwhile.
	OnBoard int     `json:"others_on_board"`
	P50     float64 `json:"p50_ms"`
	P95     float64 `json:"p95_ms"`
	P99     float64 `json:"p99_ms"`
	Max     float64 `json:"max_ms"`
}

func newReport(c Config) *Report {
	return &Report{Processors: runtime.NumCPU(), Command: CommandName, Rounds: c.Rounds, RoundSeconds: c.Duration.Seconds()}
}

func (r *Report) add(m *Measured) {
	r.Places = append(r.Places, m)
	r.Aims = append(r.Aims, aimsOf(m)...)
}

func (m *Measured) throughput(c Config, measured map[crowd][]round) {
	for _, n := range c.crowds() {
		m.Throughput = append(m.Throughput, throughputOf(n, measured[n]))
	}
}

func throughputOf(n crowd, rounds []round) Throughput {
	ratio := func(rival leg) float64 {
		return medianOf(rounds, func(r round) float64 { return over(r[commands].Rate(), r[rival].Rate()) })
	}
	return Throughput{
		Callers: n.callers, Sites: n.sites,
		Commands: figuresOf(legOf(rounds, commands)), Broker: figuresOf(legOf(rounds, broker)), Bare: figuresOf(legOf(rounds, bare)),
		TimesBroker: ratio(broker), OfBare: ratio(bare),
		Slower: medianOf(rounds, func(r round) float64 {
			return over(r[commands].median(), r[broker].median()+r[bare].median())
		}),
	}
}

// over is a ratio, and 0 over nothing.
func over(a, b float64) float64 {
	if b == 0 {
		return 0
	}
	return a / b
}

// legOf gives what one leg gave in each round.
func legOf(rounds []round, l leg) []Sample {
	samples := make([]Sample, len(rounds))
	for n, r := range rounds {
		samples[n] = r[l]
	}
	return samples
}

// figuresOf are medians of one leg's samples.
func figuresOf(samples []Sample) Figures {
	percentile := func(p float64) float64 {
		return medianOf(samples, func(s Sample) float64 { return millis(Percentile(s.Latencies, p)) })
	}
	return Figures{
		PerSecond: medianOf(samples, Sample.Rate),
		P50:       percentile(50), P95: percentile(95), P99: percentile(99),
		Bytes:  medianOf(samples, func(s Sample) float64 { return s.each(float64(s.Spent.Bytes)) }),
		Allocs: medianOf(samples, func(s Sample) float64 { return s.each(float64(s.Spent.Objects)) }),
		CPU:    medianOf(samples, func(s Sample) float64 { return s.each(micros(s.Spent.CPU)) }),
	}
}

// medianOf is the median of a figure of each.
func medianOf[T any](all []T, figure func(T) float64) float64 {
	var values []float64
	for _, r := range all {
		values = append(values, figure(r))
	}
	return Median(values)
}

func diagnosisOf(asked int, took []time.Duration) *Diagnosis {
	at := func(p float64) float64 { return millis(Percentile(took, p)) }
	return &Diagnosis{Asked: asked, Jobs: len(took), OnBoard: jobsOnBoard, P50: at(50), P95: at(95), P99: at(99), Max: at(100)}
}

func millis(d time.Duration) float64 { return float64(d.Nanoseconds()) / 1e6 }
