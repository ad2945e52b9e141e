package inventory

import (
	"fmt"
	"math"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/engine/replenish"
	"ramprow/internal/platform/sitelog"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// weeksAhead is how far a promise looks if nobody says.
const weeksAhead = 8

// promise says how much of a part can still be promised, week by week from now
// on. What jobs have on the shelf or wait for is promised to them already, in the
// week of their turn; without a turn it is taken to be wanted now.
func (st *State) promise(req *inventoryv1.GetPromiseRequest, now time.Time) (*inventoryv1.GetPromiseResponse, error) {
	p := st.parts[req.GetPart()]
	if p == nil {
		return nil, noPart(req.GetPart())
	}
	n := int(req.GetWeeks())
	if n == 0 {
		n = weeksAhead
	}
	w := &weeks{now: now, arrives: make([]int64, n), wanted: make([]int64, n), expected: make([]float64, n)}
	for _, need := range st.needs(req.GetPart(), p) {
		at := now
		if turn := st.holds[need.Job].doc.GetTurn(); turn != nil {
			at = turn.AsTime()
		}
		i := min(w.of(at), n-1) // what is wanted later is kept for it all the same
		w.wanted[i] += need.Quantity
		w.expected[i] += float64(need.Quantity) * need.Probability
	}
	deliveries := newDraft(st, sitelog.Input{Now: now}).deliveries(req.GetPart())
	for i, c := range deliveries {
		if !c.at.After(now) {
			deliveries[i].at = now.Add(lateGrace)
		}
		if in := w.of(deliveries[i].at); in < n {
			w.arrives[in] += c.quantity
		}
	}
	free, err := replenish.AvailableToPromise(p.onHand, w.arrives, w.wanted)
	if err != nil {
		return nil, err
	}
	resp := w.shown(free.Total)
	st.sayFrom(resp, free.Total, deliveries, req, now)
	return resp, nil
}

// weeks are counted from a moment on.
type weeks struct {
	now             time.Time
	arrives, wanted []int64
	expected        []float64
}

func (w *weeks) of(at time.Time) int { return max(0, int(at.Sub(w.now)/week)) }

func (w *weeks) shown(free []int64) *inventoryv1.GetPromiseResponse {
	resp := &inventoryv1.GetPromiseResponse{}
	for i := range free {
		resp.Weeks = append(resp.Weeks, &inventoryv1.PromiseWeek{
			Begins: timestamppb.New(w.now.Add(time.Duration(i) * week)), Arrives: w.arrives[i], Wanted: w.wanted[i],
			Expected: int64(math.Round(w.expected[i])), Free: free[i],
		})
	}
	return resp
}

// sayFrom finds the day on which the quantity is there and nobody else's.
func (st *State) sayFrom(resp *inventoryv1.GetPromiseResponse, free []int64, deliveries []coming, req *inventoryv1.GetPromiseRequest, now time.Time) {
	quantity := max(1, req.GetQuantity())
	p := st.parts[req.GetPart()]
	say := func(format string, args ...any) { resp.Why = append(resp.Why, fmt.Sprintf(format, args...)) }
	say("%d on hand, %d of them held; %d on order, %d wanted", p.onHand, p.held, p.onOrder, p.wanted)
	for i, total := range free {
		if total < quantity {
			continue
		}
		if i == 0 && total-resp.GetWeeks()[0].GetArrives() >= quantity {
			resp.From = timestamppb.New(now)
			say("%d can be promised now", quantity)
			return
		}
		var last coming // of what arrives until the end of that week
		for _, c := range deliveries {
			if c.at.Before(now.Add(time.Duration(i+1) * week)) {
				last = c
			}
		}
		resp.From = timestamppb.New(last.at)
		line := fmt.Sprintf("%d can be promised from %s on, when %s has delivered", quantity, last.at.Format(time.DateOnly), last.supplier)
		if likely := st.suppliers.likelyAfter(last.supplier, last.at); likely != nil {
			line += fmt.Sprintf("; as it delivered so far, by %s with 80%%", likely.AsTime().Format(time.DateOnly))
		}
		say("%s", line)
		return
	}
	end := newDraft(st, sitelog.Input{Now: now}).leadEnd(req.GetPart())
	say("%d cannot be promised within %d weeks of what is there and on order; ordered now they come on %s", quantity, len(free), end.Format(time.DateOnly))
}
