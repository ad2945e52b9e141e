package replenish

import (
	"math"
	"testing"
)

// dice is SplitMix64: a test must give the same numbers everywhere and for ever.
type dice uint64

func (d *dice) uniform() float64 {
	*d += 0x9e3779b97f4a7c15
	z := uint64(*d)
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return float64((z^z>>31)>>11) / (1 << 53)
}

// poisson draws by inversion.
func (d *dice) poisson(mean float64) int64 {
	u, k := d.uniform(), 0
	for sum := PoissonExactly(mean, 0); u > sum && k < 1000; sum += PoissonExactly(mean, k) {
		k++
	}
	return int64(k)
}

// geometric draws 1, 2, 3 … with a mean.
func (d *dice) geometric(mean float64) int64 {
	return 1 + int64(math.Log(1-d.uniform())/math.Log(1-1/mean))
}

// The four kinds of demand per week, by what they were made with.
var simulated = []struct {
	class Class
	draw  func(*dice) int64
}{
	{Smooth, func(d *dice) int64 { return d.poisson(12) }},
	{Erratic, func(d *dice) int64 { return d.geometric(10) }},
	{Intermittent, func(d *dice) int64 {
		if d.uniform() < 0.3 {
			return 1 + d.poisson(0.5)
		}
		return 0
	}},
	{Lumpy, func(d *dice) int64 {
		if d.uniform() < 0.25 {
			return d.geometric(8)
		}
		return 0
	}},
}

// week by week, a shelf is run by Propose alone, which sees the last year only.
type shelf struct {
	stock    Stock
	backlog  int64
	arriving []int64 // this week, next week …
	history  []float64
	demand   int64
	filled   int64
	onHand   int64 // summed over weeks
}

const simulatedLead = 3

func (s *shelf) week(t *testing.T, demand int64, fill float64) {
	t.Helper()
	arrived := s.arriving[0]
	s.arriving = append(s.arriving[1:], 0)
	s.stock.OnHand += arrived
	s.stock.OnOrder -= arrived
	paid := min(s.backlog, s.stock.OnHand)
	s.backlog, s.stock.OnHand = s.backlog-paid, s.stock.OnHand-paid

	given := min(demand, s.stock.OnHand)
	s.stock.OnHand -= given
	s.backlog += demand - given
	s.demand, s.filled, s.onHand = s.demand+demand, s.filled+given, s.onHand+s.stock.OnHand
	if s.history = append(s.history, float64(demand)); len(s.history) > 52 {
		s.history = s.history[1:]
	}

	s.stock.Wanted = s.backlog
	buy, err := Propose(s.stock, Rules{LeadPeriods: simulatedLead, Fill: fill, History: s.history})
	if err != nil {
		t.Fatal(err)
	}
	s.stock.OnOrder += buy.Quantity
	s.arriving[simulatedLead] += buy.Quantity
}

// The service that is achieved beside the one that was wanted, with a level that
// is estimated from one year of demand at any time. The table stands in the README.
func TestPolicySimulation(t *testing.T) {
	const years, weeks = 40, 52
	for _, kind := range simulated {
		for _, fill := range []float64{0.90, 0.95, 0.98} {
			d := dice(2031)
			s := &shelf{arriving: make([]int64, simulatedLead+1)}
			for range weeks { // to have a history and a stock
				s.week(t, kind.draw(&d), fill)
			}
			s.demand, s.filled, s.onHand = 0, 0, 0
			var all []float64
			for range years * weeks {
				demand := kind.draw(&d)
				all = append(all, float64(demand))
				s.week(t, demand, fill)
			}
			p := ok(Classify(all))(t)
			if p.Class != kind.class {
				t.Fatalf("made as %v, the demand is %v (%+v)", kind.class, p.Class, p)
			}
			achieved := float64(s.filled) / float64(s.demand)
			t.Logf("| %v | %.0f %% | %.1f %% | %.1f | %.1f |", kind.class, 100*fill, 100*achieved,
				float64(s.demand)/(years*weeks), float64(s.onHand)/(years*weeks))
			if achieved < fill-0.02 || achieved > fill+0.03 {
				t.Errorf("%v: %.1f %% were filled, %.0f %% wanted", kind.class, 100*achieved, 100*fill)
			}
		}
	}
}
