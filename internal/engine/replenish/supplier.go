package replenish

import (
	"fmt"
	"math"
	"slices"
)

// Supplier holds the terms of one, in any money: what an order costs beside its goods.
type Supplier struct {
	Name string
	// Minimum value of an order; 0: none.
	Minimum float64
	// Carriage of an order below CarriageFree.
	Carriage     float64
	CarriageFree float64
}

// Offer is what a supplier asks for a part, per unit, in whole packs of a smallest order.
type Offer struct {
	Supplier string
	Price    float64
	Pack     int64
	Minimum  int64
}

// Wish is a part to buy from whoever offers it.
type Wish struct {
	Part     string
	Quantity int64
	Offers   []Offer
}

// Placed is a wish given to a supplier.
type Placed struct {
	Part     string
	Supplier string
	Quantity int64
	Cost     float64
	Reason   string
}

// Basket is a whole purchase over all suppliers.
type Basket struct {
	Lines    []Placed
	Goods    float64
	Carriage float64
}

// Cost is what it comes to.
func (b Basket) Cost() float64 { return b.Goods + b.Carriage }

// mostChoices bounds the search of every choice; beyond it the cheapest baskets
// are improved line by line until no single move helps.
const mostChoices = 20_000

// Consolidate chooses suppliers so that goods and carriage together cost least,
// and no order stays below its supplier's minimum. With few choices all are
// looked at; else it is the best of several starts, each improved by moving one
// line or one supplier's whole order. False: some minimum cannot be reached.
func Consolidate(suppliers []Supplier, wishes []Wish) (Basket, bool, error) {
	c, err := newChooser(suppliers, wishes)
	if err != nil {
		return Basket{}, false, err
	}
	if len(wishes) == 0 {
		return Basket{}, true, nil
	}
	var best []int
	if c.choices() <= mostChoices {
		best = c.every()
	} else {
		best = c.improve()
	}
	if math.IsInf(c.cost(best), 1) {
		return Basket{}, false, nil
	}
	return c.basket(best), true, nil
}

type chooser struct {
	suppliers map[string]Supplier
	wishes    []Wish
}

func newChooser(suppliers []Supplier, wishes []Wish) (*chooser, error) {
	c := &chooser{suppliers: map[string]Supplier{}, wishes: wishes}
	for _, s := range suppliers {
		if err := firstUnmet(notNegative("Minimum", s.Minimum), notNegative("Carriage", s.Carriage), notNegative("CarriageFree", s.CarriageFree)); err != nil {
			return nil, err
		}
		c.suppliers[s.Name] = s
	}
	for _, w := range wishes {
		if err := firstUnmet(positive("Quantity", float64(w.Quantity)), need{"Offers", float64(len(w.Offers)), len(w.Offers) > 0, "must not be empty"}); err != nil {
			return nil, err
		}
		for _, o := range w.Offers {
			if err := firstUnmet(notNegative("Price", o.Price), notNegative("Pack", float64(o.Pack)), notNegative("Minimum", float64(o.Minimum))); err != nil {
				return nil, err
			}
		}
	}
	return c, nil
}

func (c *chooser) choices() float64 {
	n := 1.0
	for _, w := range c.wishes {
		n *= float64(len(w.Offers))
	}
	return n
}

// buys is the quantity and cost of a wish at one of its offers.
func buys(w Wish, o Offer) (quantity int64, cost float64) {
	quantity = InPacks(max(w.Quantity, o.Minimum), o.Pack)
	return quantity, o.Price * float64(quantity)
}

// cost of a choice of offers, one per wish; infinite if a minimum is not reached.
func (c *chooser) cost(choice []int) float64 {
	values := map[string]float64{}
	total := 0.0
	for i, w := range c.wishes {
		_, cost := buys(w, w.Offers[choice[i]])
		values[w.Offers[choice[i]].Supplier] += cost
		total += cost
	}
	for name, value := range values {
		s := c.suppliers[name]
		if value < s.Minimum {
			return math.Inf(1)
		}
		total += s.carriage(value)
	}
	return total
}

func (s Supplier) carriage(value float64) float64 {
	if s.CarriageFree > 0 && value >= s.CarriageFree {
		return 0
	}
	return s.Carriage
}

// every looks at all choices, like an odometer.
func (c *chooser) every() []int {
	choice := make([]int, len(c.wishes))
	best, least := slices.Clone(choice), c.cost(choice)
	for {
		i := 0
		for ; i < len(choice); i++ {
			if choice[i]++; choice[i] < len(c.wishes[i].Offers) {
				break
			}
			choice[i] = 0
		}
		if i == len(choice) {
			return best
		}
		if cost := c.cost(choice); cost < least {
			best, least = slices.Clone(choice), cost
		}
	}
}

// improve starts from the cheapest offer of each wish, and from each supplier for
// all that it offers.
func (c *chooser) improve() []int {
	var best []int
	least := math.Inf(1)
	for _, preferred := range append(c.names(), "") {
		choice := c.start(preferred)
		cost := c.descend(choice)
		if best == nil || cost < least {
			best, least = choice, cost
		}
	}
	return best
}

func (c *chooser) names() []string {
	seen := map[string]bool{}
	for _, w := range c.wishes {
		for _, o := range w.Offers {
			seen[o.Supplier] = true
		}
	}
	names := make([]string, 0, len(seen))
	for name := range seen {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

func (c *chooser) start(preferred string) []int {
	choice := make([]int, len(c.wishes))
	for i, w := range c.wishes {
		for j, o := range w.Offers {
			_, cost := buys(w, o)
			_, least := buys(w, w.Offers[choice[i]])
			now := w.Offers[choice[i]].Supplier == preferred
			if o.Supplier == preferred && !now || now == (o.Supplier == preferred) && cost < least {
				choice[i] = j
			}
		}
	}
	return choice
}

// descend makes the move that helps until none does, and gives the cost.
func (c *chooser) descend(choice []int) float64 {
	least := c.cost(choice)
	for improved := true; improved; {
		improved = false
		for i, w := range c.wishes {
			for j := range w.Offers {
				was := choice[i]
				choice[i] = j
				if cost := c.cost(choice); cost < least {
					least, improved = cost, true
				} else {
					choice[i] = was
				}
			}
		}
		for _, to := range c.names() {
			for _, from := range c.names() {
				moved := c.moved(choice, from, to)
				if cost := c.cost(moved); cost < least {
					copy(choice, moved)
					least, improved = cost, true
				}
			}
		}
	}
	return least
}

// moved gives one supplier's lines to another where it offers them.
func (c *chooser) moved(choice []int, from, to string) []int {
	moved := slices.Clone(choice)
	for i, w := range c.wishes {
		if w.Offers[choice[i]].Supplier != from {
			continue
		}
		for j, o := range w.Offers {
			if o.Supplier == to {
				moved[i] = j
			}
		}
	}
	return moved
}

func (c *chooser) basket(choice []int) Basket {
	var b Basket
	values := map[string]float64{}
	for i, w := range c.wishes {
		o := w.Offers[choice[i]]
		quantity, cost := buys(w, o)
		b.Goods += cost
		values[o.Supplier] += cost
		b.Lines = append(b.Lines, Placed{Part: w.Part, Supplier: o.Supplier, Quantity: quantity, Cost: cost})
	}
	for _, name := range c.names() {
		if value, ordered := values[name]; ordered {
			b.Carriage += c.suppliers[name].carriage(value)
		}
	}
	for i := range b.Lines {
		l, w := &b.Lines[i], c.wishes[i]
		cheapest := math.Inf(1)
		for _, o := range w.Offers {
			_, cost := buys(w, o)
			cheapest = math.Min(cheapest, cost)
		}
		s := c.suppliers[l.Supplier]
		switch {
		case l.Cost <= cheapest:
			l.Reason = fmt.Sprintf("%s is cheapest for it at %.2f", l.Supplier, l.Cost)
		case s.CarriageFree > 0 && values[l.Supplier] >= s.CarriageFree:
			l.Reason = fmt.Sprintf("%.2f dearer at %s, whose order comes free of carriage with it", l.Cost-cheapest, l.Supplier)
		default:
			l.Reason = fmt.Sprintf("%.2f dearer at %s, which saves another order's carriage or meets its minimum", l.Cost-cheapest, l.Supplier)
		}
	}
	return b
}
