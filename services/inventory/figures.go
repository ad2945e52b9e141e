package inventory

import (
	"google.golang.org/protobuf/proto"

	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// shown is a part with what the shelf holds, for readers.
func (p *part) shown() *inventoryv1.Part {
	about := proto.CloneOf(p.about)
	about.OnHand, about.Held, about.Available = p.onHand, p.held, p.onHand-p.held
	about.OnOrder, about.Wanted = p.onOrder, p.wanted
	about.Value = p.worth.money()
	return about
}

// part shows a part as it will be once the draft's events are applied.
func (d *draft) part(number string) *inventoryv1.Part {
	p := *d.st.parts[number]
	if s := d.shelf[number]; s != nil {
		p.onHand, p.held, p.worth = s.onHand, s.held, s.worth
	}
	for job, doc := range d.holds {
		if h := d.st.holds[job]; h != nil {
			p.wanted -= tallyOf(h.doc)[number].wanted
		}
		p.wanted += tallyOf(doc)[number].wanted
	}
	for name, o := range d.orders {
		p.onOrder += onOrder(o, number) - onOrder(d.st.orders[name], number)
	}
	return p.shown()
}

// onOrder is what an order still brings of a part.
func onOrder(o *inventoryv1.Order, number string) int64 {
	var sum int64
	for _, l := range o.GetLines() {
		if l.GetPart() == number {
			sum += outstanding(o, l)
		}
	}
	return sum
}
