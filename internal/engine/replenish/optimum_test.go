package replenish

import (
	"fmt"
	"math"
	"testing"
)

// shelfModel is a reviewed shelf with Poisson demand, of which every figure of an
// (s, S) policy is known exactly by renewal theory (Zheng and Federgruen): the
// position after each review lies at S - j as often as visits[j] says.
type shelfModel struct {
	mean, lead      float64   // demand per period; lead time in periods
	order, holding  float64   // per order; per unit and period
	shortEnd, start []float64 // loss at each position by the end of lead time and review, and of lead time
}

const topPosition = 80

func newShelfModel(mean, lead, order, holding float64) shelfModel {
	m := shelfModel{mean: mean, lead: lead, order: order, holding: holding}
	for y := range topPosition {
		m.shortEnd = append(m.shortEnd, PoissonLoss(mean*(lead+1), y))
		m.start = append(m.start, PoissonLoss(mean*lead, y))
	}
	return m
}

// evaluate gives cost per period and fill rate, exactly.
func (m shelfModel) evaluate(reorder, upTo int, visits []float64) (cost, fill float64) {
	time, hold, short := 0.0, 0.0, 0.0
	for j := range upTo - reorder {
		y := upTo - j
		time += visits[j]
		hold += visits[j] * (float64(y) - m.mean*(m.lead+1) + m.shortEnd[y])
		short += visits[j] * (m.shortEnd[y] - m.start[y])
	}
	return (m.order + m.holding*hold) / time, 1 - short/time/m.mean
}

// cheapest looks at every policy of positions from 0 up, and gives the cheapest
// that reaches a fill rate.
func (m shelfModel) cheapest(fill float64) (reorder, upTo int, cost float64) {
	visits := renewals(m.mean, topPosition)
	cost = math.Inf(1)
	for s := range topPosition - 1 {
		for top := s + 1; top < topPosition; top++ {
			if c, f := m.evaluate(s, top, visits); f >= fill && c < cost {
				reorder, upTo, cost = s, top, c
			}
		}
	}
	return reorder, upTo, cost
}

// TestCostAgainstTheOptimum holds the policy that proposals follow, of an
// economic lot above a reorder point for the fill rate, to the cheapest of all
// policies with the same fill rate, found by looking at every one of them. Both
// are computed exactly for the same known demand. The bounds were measured here.
func TestCostAgainstTheOptimum(t *testing.T) {
	for _, tt := range []struct{ mean, lead, order, holding float64 }{
		{0.25, 2, 4, 0.5},
		{0.5, 3, 4, 0.2},
		{1, 2, 8, 0.5},
		{2, 1, 6, 1},
		{4, 2, 10, 0.5},
	} {
		m := newShelfModel(tt.mean, tt.lead, tt.order, tt.holding)
		visits := renewals(m.mean, topPosition)
		for _, fill := range []float64{0.9, 0.95, 0.98} {
			lot, err := Rules{OrderCost: tt.order, HoldingCost: tt.holding}.lot(tt.mean)
			if err != nil {
				t.Fatal(err)
			}
			point, err := Reviewed{Mean: tt.mean, Variance: tt.mean, Lead: tt.lead}.ReorderForFill(lot, fill)
			if err != nil {
				t.Fatal(err)
			}
			cost, achieved := m.evaluate(int(point), int(point+lot), visits)
			s, top, least := m.cheapest(fill)
			name := fmt.Sprintf("demand %v, lead %v, fill %v", tt.mean, tt.lead, fill)
			t.Logf("%s: (%d, %d) reaches %.1f %% at %.2f; the cheapest is (%d, %d) at %.2f: %.1f %% dearer",
				name, point, point+lot, 100*achieved, cost, s, top, least, 100*(cost/least-1))
			if achieved < fill-0.005 || cost > 1.25*least || cost < least-1e-9 && achieved >= fill {
				t.Errorf("%s: %.4f at %.3f, the cheapest %.3f", name, achieved, cost, least)
			}
		}
	}
}
