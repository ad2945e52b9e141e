package inventory

import (
	"testing"
	"time"

	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// A small shop goes the same way as the big one of `ramprow bench stock`: most
// movements have left the state, every figure is measured, and what is asked
// about the past is answered from the archive as the history says.
func TestMeasureBigShop(t *testing.T) {
	m := newMeasuring(50, 4000)
	check(t, m.run())
	shop := m.shop
	if shop.InState >= 1500 || shop.InState == 0 || shop.EventBytes == 0 || shop.SnapshotBytes == 0 || len(shop.Figures) != 16 {
		t.Errorf("measured %+v", shop)
	}
	for _, f := range shop.Figures {
		if f.What == "" || f.Times == 0 || f.Each <= 0 {
			t.Errorf("no figure: %+v", f)
		}
	}
	at := m.now.AddDate(-1, 0, 0)
	want := map[string]*inventoryv1.Movement{}
	for _, e := range m.events {
		if moved, is := e.kind.(*inventoryv1.StockMoved); is && !moved.GetMovement().GetAt().AsTime().After(at) {
			want[moved.GetMovement().GetPart()] = moved.GetMovement()
		}
	}
	v, err := m.value(at)
	check(t, err)
	for number, l := range v.parts {
		if l.quantity != want[number].GetOnHandAfter() || l.value != want[number].GetValueAfterMinorUnits() {
			t.Errorf("%d of %s worth %d a year ago, and its last movement was %v", l.quantity, number, l.value, want[number])
		}
	}
	if v.since < 4000/yearsOfBigShop-2 {
		t.Errorf("a year is %d movements of 4000 in %d years", v.since, yearsOfBigShop)
	}
	for _, c := range [][2]int{{0, 1}, {1, 0}, {MostBigParts + 1, 1}, {1, MostBigMovements + 1}} {
		if _, err := MeasureBigShop(c[0], c[1]); err == nil {
			t.Errorf("a shop of %d parts and %d movements was measured", c[0], c[1])
		}
	}
	if span := m.now.Sub(m.began); span != yearsOfBigShop*52*7*24*time.Hour {
		t.Errorf("the history takes %v", span)
	}
}
