package bench

import (
	"runtime"
	"time"
)

// The aim: so many callers get at least so many times as many commands to disk
// as the broker takes synced messages from them.
const (
	aimCallers = 64
	aimTimes   = 3
)

// Report is what a run has found. Rates are per second, latencies milliseconds.
type Report struct {
	Processors   int          `json:"processors"`
	Command      string       `json:"command"`
	PayloadBytes int          `json:"broker_payload_bytes"`
	Rounds       int          `json:"rounds"`
	RoundSeconds float64      `json:"round_seconds"`
	Throughput   []Throughput `json:"throughput"`
	Aim          *Aim         `json:"aim,omitempty"` // nil: its number of callers was not asked for
	Log          Counted      `json:"log"`
	Diagnosis    *Diagnosis   `json:"diagnosis_to_bay,omitempty"`
	Division     []Division   `json:"division"`
}

// Throughput is one number of callers: medians over the rounds.
type Throughput struct {
	Callers  int     `json:"callers"`
	Commands Figures `json:"commands"`
	Broker   Figures `json:"broker"`
	Bare     Figures `json:"bare_call"`
	// TimesBroker and OfBare are the commands' rate as a multiple of the others'.
	TimesBroker float64 `json:"times_broker"`
	OfBare      float64 `json:"of_bare_call"`
}

// Figures of one leg.
type Figures struct {
	PerSecond float64 `json:"per_second"`
	P50       float64 `json:"p50_ms"`
	P95       float64 `json:"p95_ms"`
	P99       float64 `json:"p99_ms"`
}

// Aim is what was wanted and what came of it.
type Aim struct {
	Callers int     `json:"callers"`
	Times   float64 `json:"times_broker"`
	Reached bool    `json:"reached"`
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

func (r *Report) throughput(c Config, measured map[int][]round) {
	for _, callers := range c.Callers {
		t := throughputOf(callers, measured[callers])
		r.Throughput = append(r.Throughput, t)
		if callers == aimCallers {
			r.Aim = &Aim{Callers: aimCallers, Times: aimTimes, Reached: t.TimesBroker >= aimTimes}
		}
	}
}

func throughputOf(callers int, rounds []round) Throughput {
	ratio := func(rival leg) float64 {
		return medianOf(rounds, func(r round) float64 {
			if r[rival].Rate() == 0 {
				return 0
			}
			return r[commands].Rate() / r[rival].Rate()
		})
	}
	return Throughput{
		Callers: callers, Commands: figuresOf(rounds, commands), Broker: figuresOf(rounds, broker), Bare: figuresOf(rounds, bare),
		TimesBroker: ratio(broker), OfBare: ratio(bare),
	}
}

func figuresOf(rounds []round, l leg) Figures {
	percentile := func(p float64) float64 {
		return medianOf(rounds, func(r round) float64 { return millis(Percentile(r[l].Latencies, p)) })
	}
	return Figures{
		PerSecond: medianOf(rounds, func(r round) float64 { return r[l].Rate() }),
		P50:       percentile(50), P95: percentile(95), P99: percentile(99),
	}
}

func medianOf(rounds []round, figure func(round) float64) float64 {
	var values []float64
	for _, r := range rounds {
		values = append(values, figure(r))
	}
	return Median(values)
}

func diagnosisOf(asked int, took []time.Duration) *Diagnosis {
	at := func(p float64) float64 { return millis(Percentile(took, p)) }
	return &Diagnosis{Asked: asked, Jobs: len(took), OnBoard: jobsOnBoard, P50: at(50), P95: at(95), P99: at(99), Max: at(100)}
}

func millis(d time.Duration) float64 { return float64(d.Nanoseconds()) / 1e6 }
