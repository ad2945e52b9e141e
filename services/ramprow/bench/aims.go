package bench

// The aims, all with a sync on every write. So many callers at one site get at
// least so many times the commands to disk that the broker takes messages from
// them, and so large a part of the bare calls; one caller alone waits at most so
// many times as long as for a message and a bare call; and a bay is booked in time.
const (
	aimCallers     = 64
	aimTimesBroker = 3
	aimOfBare      = 0.6
	aimSlower      = 1.3
	aimBooked      = 20 // ms, of 99 in 100 jobs, embedded
)

// Aim is what was wanted and what came of it.
type Aim struct {
	Place    string  `json:"place"`
	What     string  `json:"what"`
	Wanted   float64 `json:"wanted"`
	AtMost   bool    `json:"at_most"` // else at least
	Measured float64 `json:"measured"`
	Reached  bool    `json:"reached"`
}

// aimsOf judges what was measured of the aims at a place.
func aimsOf(m *Measured) []Aim {
	var aims []Aim
	atLeast := func(what string, wanted, measured float64) {
		aims = append(aims, Aim{Place: m.Place, What: what, Wanted: wanted, Measured: measured, Reached: measured >= wanted})
	}
	atMost := func(what string, wanted, measured float64) {
		aims = append(aims, Aim{Place: m.Place, What: what, Wanted: wanted, AtMost: true, Measured: measured, Reached: measured <= wanted})
	}
	for _, t := range m.Throughput {
		switch {
		case t.Sites == 1 && t.Callers == aimCallers:
			atLeast("64 callers, commands as a multiple of the broker's messages", aimTimesBroker, t.TimesBroker)
			atLeast("64 callers, commands as a part of bare calls", aimOfBare, t.OfBare)
		case t.Sites == 1 && t.Callers == 1:
			atMost("one caller, median wait as a multiple of a message's and a bare call's", aimSlower, t.Slower)
		}
	}
	if d := m.Diagnosis; d != nil && d.Jobs > 0 && m.Place == Embedded {
		atMost("diagnosis to bay, p99 in ms", aimBooked, d.P99)
	}
	return aims
}
