package flow

import "math"

// ErlangC is the share of arrivals that wait in an M/M/c queue with an offered
// load of so many erlangs (arrival rate over service rate); 1 from a load of c on.
//
// By the recursion of Erlang B, which does not overflow: B(0) = 1,
// B(n) = aB(n−1)/(n + aB(n−1)), C = cB/(c − a(1−B)).
func ErlangC(servers int, load float64) float64 {
	c := float64(servers)
	if load >= c {
		return 1
	}
	b := 1.0
	for n := 1; n <= servers; n++ {
		b = load * b / (float64(n) + load*b)
	}
	return c * b / (c - load*(1-b))
}

// Queue is the steady state of an M/M/c queue; times are in the unit of the rates.
type Queue struct {
	Utilisation float64
	Waits       float64 // share of arrivals
	Empty       float64 // share of time
	Queued      float64 // Lq
	Present     float64 // L
	Wait        float64 // Wq
	Stay        float64 // W
}

// MMC gives the steady state of Poisson arrivals and exponential services at c
// servers; without one, the means are infinite.
func MMC(arrivals, services float64, servers int) Queue {
	load, c := arrivals/services, float64(servers)
	q := Queue{Utilisation: load / c, Waits: ErlangC(servers, load)}
	if load >= c {
		inf := math.Inf(1)
		q.Queued, q.Present, q.Wait, q.Stay = inf, inf, inf, inf
		return q
	}
	q.Wait = q.Waits / (c*services - arrivals)
	q.Stay = q.Wait + 1/services
	q.Queued, q.Present = arrivals*q.Wait, arrivals*q.Stay
	// p0 = 1 / (Σ aⁿ/n! + aᶜ/(c!(1−ρ))), n < c.
	sum, term := 0.0, 1.0
	for n := range servers {
		sum += term
		term *= load / float64(n+1)
	}
	q.Empty = 1 / (sum + term/(1-q.Utilisation))
	return q
}

// PollaczekKhinchine is the mean wait of an M/G/1 queue with a mean service time and
// its squared coefficient of variation.
func PollaczekKhinchine(arrivals, service, scv float64) float64 {
	u := arrivals * service
	if u >= 1 {
		return math.Inf(1)
	}
	return u / (1 - u) * (1 + scv) / 2 * service
}

// Kingman is the mean wait of a G/G/1 queue, an approximation that is best when it
// is busy (J. F. C. Kingman, 1961), exact for M/M/1 and M/G/1.
func Kingman(arrivalSCV, serviceSCV, service, utilisation float64) float64 {
	return Sakasegawa(arrivalSCV, serviceSCV, service, 1, utilisation)
}

// Sakasegawa is the mean wait of a G/G/c queue, an approximation (H. Sakasegawa,
// Annals of the Institute of Statistical Mathematics 29, 1977).
func Sakasegawa(arrivalSCV, serviceSCV, service float64, servers int, utilisation float64) float64 {
	if utilisation >= 1 {
		return math.Inf(1)
	}
	c := float64(servers)
	return (arrivalSCV + serviceSCV) / 2 * math.Pow(utilisation, math.Sqrt(2*(c+1))-1) / (c * (1 - utilisation)) * service
}
