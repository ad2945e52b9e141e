package job

import (
	"github.com/shopspring/decimal"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

// payerCustomer is the payer who bears what nobody else does.
const payerCustomer = "customer"

const wholeShare = 10_000 // hundredths of a percent

// payers lists who pays: the others in the order in which they were named, then the customer.
func (j *Job) payers() []*jobv1.Payer {
	var list []*jobv1.Payer
	var customer *jobv1.Payer
	for _, p := range j.Billing.GetPayers() {
		if p.GetId() == payerCustomer {
			customer = p
		} else {
			list = append(list, p)
		}
	}
	if customer == nil {
		customer = &jobv1.Payer{Id: payerCustomer}
	}
	return append(list, customer)
}

// share is what a payer bears of a kind, in hundredths of a percent.
func share(p *jobv1.Payer, kind jobv1.LineKind) int64 {
	var found int64
	for _, s := range p.GetShares() {
		switch s.GetKind() {
		case kind:
			return int64(s.GetBasisPoints())
		case jobv1.LineKind_LINE_KIND_UNSPECIFIED:
			found = int64(s.GetBasisPoints())
		default:
		}
	}
	return found
}

// portions divides a net amount among the payers. The parts of the others are
// rounded along their running sum, so that with the customer's rest they are the
// whole to the cent.
func portions(net int64, kind jobv1.LineKind, payers []*jobv1.Payer) []int64 {
	parts := make([]int64, len(payers))
	var until, given int64
	for i, p := range payers {
		if p.GetId() == payerCustomer {
			parts[i] = net - given
			continue
		}
		until += share(p, kind)
		sum := partOf(net, until)
		parts[i] = sum - given
		given = sum
	}
	return parts
}

// partOf is hundredths of a percent of an amount, rounded half away from zero.
func partOf(net, basisPoints int64) int64 {
	return decimal.New(net, 0).Mul(decimal.New(basisPoints, -4)).Round(0).IntPart()
}
