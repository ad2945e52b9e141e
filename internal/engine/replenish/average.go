package replenish

import (
	"math"
	"math/bits"
)

// MaxValue bounds the value of what lies there of one part, in the smallest unit
// of its currency.
const MaxValue = 1_000_000_000_000_000_000

// Worth is a quantity with what it cost altogether, in the smallest unit of one
// currency, by moving average: what goes takes its share of the value along, so
// that nothing is lost by rounding, and the last piece takes all that is left
// (IAS 2.27: a weighted average "as each additional shipment is received").
type Worth struct {
	Quantity int64
	Value    int64
	// Last holds the newest quantity that was not nothing, and its value: the
	// average that still counts while the shelf is empty.
	Last struct{ Quantity, Value int64 }
}

// Receive adds a quantity that cost so much. Neither may be negative.
func (w Worth) Receive(quantity, cost int64) Worth {
	w.Quantity += quantity
	w.Value = min(w.Value+min(cost, MaxValue), MaxValue)
	return w.noted()
}

// Take gives what a quantity of at most all that is there takes along: its share
// of the value, rounded half up, or all of the value with the last piece.
func (w Worth) Take(quantity int64) (left Worth, cost int64) {
	cost = w.Value
	if quantity < w.Quantity {
		cost = ShareOf(w.Value, quantity, w.Quantity)
	}
	w.Quantity -= quantity
	w.Value -= cost
	return w.noted(), cost
}

// AtAverage is what a quantity comes to at the average, rounded half up. False:
// there was never anything to take one from.
func (w Worth) AtAverage(quantity int64) (cost int64, known bool) {
	if w.Last.Quantity == 0 {
		return 0, false
	}
	return ShareOf(w.Last.Value, quantity, w.Last.Quantity), true
}

// Correct changes the value of what is there, as when it was billed otherwise
// than it was received. It must not fall below nothing.
func (w Worth) Correct(by int64) Worth {
	w.Value = min(w.Value+min(by, MaxValue), MaxValue)
	return w.noted()
}

func (w Worth) noted() Worth {
	if w.Quantity > 0 {
		w.Last.Quantity, w.Last.Value = w.Quantity, w.Value
	}
	return w
}

// ShareOf is amount·part/whole, rounded half up, of figures that are not
// negative; at most MaxValue. The product may be larger than an int64.
func ShareOf(amount, part, whole int64) int64 {
	if amount <= 0 || part <= 0 || whole <= 0 {
		return 0
	}
	high, low := bits.Mul64(uint64(amount), uint64(part))
	low, carry := bits.Add64(low, uint64(whole)/2, 0)
	if high += carry; high >= uint64(whole) {
		return MaxValue
	}
	q, _ := bits.Div64(high, low, uint64(whole))
	return int64(min(q, uint64(math.MaxInt64), MaxValue))
}
