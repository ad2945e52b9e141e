package replenish

// Promise is what can still be promised to new customers in each period.
type Promise struct {
	// Available is what each receipt (and in period 0 the shelf) leaves
	// unpromised until the next receipt; 0 in periods without a receipt.
	Available []int64
	// Total is what can be promised up to and including each period.
	Total []int64
}

// AvailableToPromise computes what is left to promise from the stock on hand,
// the receipts and the promises already made per period (discrete ATP). A
// shortage between two receipts borrows from what came before, the latest
// first, and never just disappears; what cannot be borrowed stays negative in
// the first period.
func AvailableToPromise(onHand int64, receipts, promised []int64) (Promise, error) {
	if len(receipts) != len(promised) {
		return Promise{}, &InputError{Field: "promised", Value: float64(len(promised)), Reason: "must have as many periods as the receipts"}
	}
	n := len(receipts)
	p := Promise{Available: make([]int64, n), Total: make([]int64, n)}
	at := 0 // the period of the receipt that present promises draw on
	for i := range n {
		if receipts[i] < 0 || promised[i] < 0 {
			return Promise{}, &InputError{Field: "receipts or promised", Value: float64(min(receipts[i], promised[i])), Reason: "cannot be negative"}
		}
		if receipts[i] > 0 {
			at = i
		}
		p.Available[at] += receipts[i] - promised[i]
		if i == 0 {
			p.Available[0] += onHand
		}
	}
	p.borrow()
	sum := int64(0)
	for i, a := range p.Available {
		sum += a
		p.Total[i] = sum
	}
	return p, nil
}

// borrow covers every shortage from the receipts before it.
func (p *Promise) borrow() {
	for i := len(p.Available) - 1; i > 0; i-- {
		for j := i - 1; j >= 0 && p.Available[i] < 0; j-- {
			taken := min(-p.Available[i], max(0, p.Available[j]))
			p.Available[j] -= taken
			p.Available[i] += taken
		}
		if p.Available[i] < 0 {
			p.Available[0] += p.Available[i]
			p.Available[i] = 0
		}
	}
}
