package inventory

import (
	"fmt"
	"math/rand/v2"
	"os"
	"runtime"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/sitelog"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// TestMillionMovements measures a big shop: 50,000 parts and a million movements
// over three years. It runs by hand:
//
//	RAMPROW_MILLION=1 go test ./services/inventory -run MillionMovements -v
func TestMillionMovements(t *testing.T) {
	if os.Getenv("RAMPROW_MILLION") == "" {
		t.Skip("measured by hand: set RAMPROW_MILLION=1")
	}
	const parts, movements = 50_000, 1_000_000
	encoded := millionEvents(t, parts, movements)
	size := 0
	for _, e := range encoded {
		size += len(e.data)
	}
	before := heap()
	began := time.Now()
	st := newState("demo")
	for i, e := range encoded {
		m := e.kind.ProtoReflect().New().Interface()
		check(t, proto.Unmarshal(e.data, m))
		evolve(st, sitelog.Event{Message: m, Number: uint64(i + 1), Time: monday})
	}
	t.Logf("rebuilt from %d MB of events in %v: %d parts, %d movements", size>>20, time.Since(began).Round(time.Millisecond), len(st.parts), st.moved)
	t.Logf("the state takes %d MB", (int64(heap())-int64(before))>>20)
	runtime.KeepAlive(encoded) // it counts before and after
	now := monday.AddDate(3, 0, 0)
	timed := func(what string, times int, do func()) {
		began := time.Now()
		for range times {
			do()
		}
		t.Logf("%s: %v", what, (time.Since(began) / time.Duration(times)).Round(time.Microsecond))
	}
	var asked []question
	timed("explain a part", 1000, func() { _, _ = st.explain(millionPart(7)) })
	timed("find a part by its code", 1000, func() { _, _ = st.scanned(millionPart(7)) })
	timed("decide and apply a receipt", 1000, func() {
		events, _, err := receiveGoods(st, sitelog.Input{Now: now}, &inventoryv1.ReceiveGoodsRequest{
			Lines: []*inventoryv1.ReceivedLine{{Part: millionPart(7), Quantity: 1}},
		})
		check(t, err)
		for _, m := range events {
			evolve(st, sitelog.Event{Message: m, Time: now})
		}
	})
	timed("copy what proposals need", 3, func() { asked = st.questions(now) })
	timed("propose orders for all parts", 1, func() { _, err := proposeOrders(asked, now); check(t, err) })
	timed("find idle stock among all parts", 1, func() { _, err := idle(asked); check(t, err) })
	timed("deliveries, picks and returns of a morning", 3, func() { st.morning(now, now.Add(oneDay)) })
	began = time.Now()
	encode := snapshot(st)
	copied := time.Since(began)
	data, err := encode()
	check(t, err)
	t.Logf("a snapshot of %d MB: %v with the writer waiting, %v beside it", len(data)>>20, copied.Round(time.Millisecond), (time.Since(began) - copied).Round(time.Millisecond))
	timed("start from the snapshot", 1, func() {
		again, err := restore("demo", data)
		check(t, err)
		if again.moved != st.moved || again.parts[millionPart(7)].onHand != st.parts[millionPart(7)].onHand {
			t.Error("the snapshot holds another state")
		}
	})
}

func millionPart(n int) string { return fmt.Sprintf("M-%05d", n) }

func heap() uint64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

// written is an event as the log has it.
type written struct {
	kind proto.Message
	data []byte
}

// millionEvents are the events of a shop in which few parts go often and most
// seldom; nothing is issued that is not there.
func millionEvents(t *testing.T, parts, movements int) []written {
	t.Helper()
	random := rand.New(rand.NewPCG(6, 1))
	var all []written
	add := func(m proto.Message) {
		data, err := proto.Marshal(m)
		check(t, err)
		all = append(all, written{m, data})
	}
	for n := range parts {
		add(&inventoryv1.PartListed{Part: aPart(millionPart(n))})
	}
	onHand := make([]int64, parts)
	for n := range movements {
		part := int(float64(parts) * random.Float64() * random.Float64() * random.Float64())
		m := &inventoryv1.Movement{
			Number: uint64(n + 1), Part: millionPart(part), Kind: inventoryv1.MovementKind_MOVEMENT_KIND_ISSUED,
			Quantity: -1, Reference: jobName(1 + n/10), By: "kim",
			At: timestamppb.New(monday.Add(time.Duration(float64(n) / float64(movements) * float64(3*52*week)))),
		}
		if onHand[part] == 0 {
			m.Kind, m.Quantity, m.Reference = inventoryv1.MovementKind_MOVEMENT_KIND_RECEIVED, 1+random.Int64N(12), "goods-in"
		}
		onHand[part] += m.GetQuantity()
		m.OnHandAfter = onHand[part]
		add(&inventoryv1.StockMoved{Movement: m})
	}
	return all
}
