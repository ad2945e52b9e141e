package inventory

import (
	"fmt"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/sitelog"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// BenchmarkHoldInAQueue decides and applies one more hold for a part that many
// wait for already, and gives it up again.
func BenchmarkHoldInAQueue(b *testing.B) {
	for _, waiting := range []int{0, 100, 10_000} {
		b.Run(fmt.Sprint(waiting), func(b *testing.B) {
			s := newSite(b)
			s.list("SEAL")
			for job := 1; job <= waiting; job++ {
				s.hears(confirmed(job, 0, line("a", "SEAL", 1)))
			}
			m := confirmed(waiting+1, 5, line("a", "SEAL", 1))
			for b.Loop() {
				events, err := react(s.st, sitelog.Foreign{Message: m}, s.input())
				if err != nil {
					b.Fatal(err)
				}
				s.commit(events)
				s.commit(release(s.st, s.input(), ending{job: m.GetJob(), state: stateReleased}))
			}
		})
	}
}

// BenchmarkReceiveForAQueue receives one piece for a part that many wait for,
// with and without an order that some are promised.
func BenchmarkReceiveForAQueue(b *testing.B) {
	for _, ordered := range []int64{0, 1000} {
		b.Run(fmt.Sprintf("%d-on-order", ordered), func(b *testing.B) {
			s := newSite(b)
			s.list("SEAL")
			for job := 1; job <= 10_000; job++ {
				s.hears(confirmed(job, 0, line("a", "SEAL", 1)))
			}
			if ordered > 0 {
				s.orderSeals(ordered, day(3))
			}
			req := &inventoryv1.ReceiveGoodsRequest{Lines: []*inventoryv1.ReceivedLine{{Part: "SEAL", Quantity: 1}}}
			for b.Loop() {
				// Decided only: applied, the queue would run dry.
				if _, _, err := receiveGoods(s.st, s.input(), req); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkRebuild folds 50,000 parts and a million movements, as a start does.
func BenchmarkRebuild(b *testing.B) {
	const parts, movements = 50_000, 1_000_000
	listed := make([]proto.Message, parts)
	for i := range listed {
		listed[i] = &inventoryv1.PartListed{Part: aPart(fmt.Sprintf("P-%05d", i))}
	}
	moved := make([]proto.Message, movements)
	for i := range moved {
		moved[i] = &inventoryv1.StockMoved{Movement: &inventoryv1.Movement{
			Number: uint64(i + 1), Part: fmt.Sprintf("P-%05d", i%parts), Quantity: 1,
			Kind: inventoryv1.MovementKind_MOVEMENT_KIND_RECEIVED, OnHandAfter: int64(i/parts + 1),
		}}
	}
	var st *State
	for b.Loop() {
		st = newState("demo")
		for _, m := range listed {
			evolve(st, sitelog.Event{Message: m})
		}
		for _, m := range moved {
			evolve(st, sitelog.Event{Message: m})
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/movements, "ns/movement")
	began := time.Now()
	if _, err := proposeOrders(st.questions(monday), monday); err != nil {
		b.Fatal(err)
	}
	b.ReportMetric(float64(time.Since(began).Milliseconds()), "ms/proposal-list")
}
