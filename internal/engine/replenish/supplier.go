package replenish

import (
	"fmt"
	"maps"
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
	// Breaks are lower prices from a quantity on, for all of it; they grow.
	Breaks []Break
}

// price per unit of a quantity.
func (o Offer) price(quantity int64) float64 {
	price := o.Price
	for _, b := range o.Breaks {
		if float64(quantity) >= b.From {
			price = b.Price
		}
	}
	return price
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

// chooser numbers suppliers and has every offer's cost ready, since all of it is
// asked for again and again.
type chooser struct {
	suppliers []Supplier // those who offer something, by name
	wishes    []Wish
	offers    [][]priced
}

// priced is an offer as it would be bought.
type priced struct {
	supplier int
	quantity int64
	cost     float64
}

func newChooser(suppliers []Supplier, wishes []Wish) (*chooser, error) {
	for _, s := range suppliers {
		if err := firstUnmet(notNegative("Minimum", s.Minimum), notNegative("Carriage", s.Carriage), notNegative("CarriageFree", s.CarriageFree)); err != nil {
			return nil, err
		}
	}
	c := &chooser{wishes: wishes, offers: make([][]priced, len(wishes))}
	numbers := map[string]int{}
	for _, name := range namesOf(wishes) {
		numbers[name] = len(c.suppliers)
		c.suppliers = append(c.suppliers, Supplier{Name: name})
	}
	for _, s := range suppliers {
		if n, offers := numbers[s.Name]; offers {
			c.suppliers[n] = s
		}
	}
	for i, w := range wishes {
		if err := w.check(); err != nil {
			return nil, err
		}
		for _, o := range w.Offers {
			quantity, cost := buys(w, o)
			c.offers[i] = append(c.offers[i], priced{numbers[o.Supplier], quantity, cost})
		}
	}
	return c, nil
}

func (w Wish) check() error {
	if err := firstUnmet(positive("Quantity", float64(w.Quantity)), need{"Offers", float64(len(w.Offers)), len(w.Offers) > 0, "must not be empty"}); err != nil {
		return err
	}
	for _, o := range w.Offers {
		if err := firstUnmet(notNegative("Price", o.Price), notNegative("Pack", float64(o.Pack)), notNegative("Minimum", float64(o.Minimum))); err != nil {
			return err
		}
		last := 0.0
		for _, b := range o.Breaks {
			if err := firstUnmet(need{"Breaks.From", b.From, b.From > last, "must grow"}, notNegative("Breaks.Price", b.Price)); err != nil {
				return err
			}
			last = b.From
		}
	}
	return nil
}

func namesOf(wishes []Wish) []string {
	seen := map[string]bool{}
	for _, w := range wishes {
		for _, o := range w.Offers {
			seen[o.Supplier] = true
		}
	}
	return slices.Sorted(maps.Keys(seen))
}

func (c *chooser) choices() float64 {
	n := 1.0
	for _, w := range c.wishes {
		n *= float64(len(w.Offers))
	}
	return n
}

// buys is the quantity and cost of a wish at one of its offers: what is wanted in
// whole packs, or more of it where a lower price makes that cost less altogether.
func buys(w Wish, o Offer) (quantity int64, cost float64) {
	quantity = InPacks(max(w.Quantity, o.Minimum), o.Pack)
	cost = o.price(quantity) * float64(quantity)
	for _, b := range o.Breaks {
		if b.From <= float64(quantity) || b.From > MaxQuantity {
			continue
		}
		more := InPacks(int64(math.Ceil(b.From)), o.Pack)
		if all := o.price(more) * float64(more); all < cost {
			quantity, cost = more, all
		}
	}
	return quantity, cost
}

// filling is what a choice of offers, one per wish, comes to with each supplier.
type filling struct {
	values []float64
	lines  []int
	goods  float64
}

func (c *chooser) put(choice []int) *filling {
	b := &filling{values: make([]float64, len(c.suppliers)), lines: make([]int, len(c.suppliers))}
	for i, j := range choice {
		b.add(c.offers[i][j], 1)
	}
	return b
}

// add puts a line in, or takes it out.
func (b *filling) add(p priced, times int) {
	b.values[p.supplier] += float64(times) * p.cost
	b.lines[p.supplier] += times
	b.goods += float64(times) * p.cost
}

// total is infinite if a minimum is not reached.
func (c *chooser) total(b *filling) float64 {
	total := b.goods
	for n, s := range c.suppliers {
		if b.lines[n] == 0 {
			continue
		}
		// Sums that were moved about may fall short by a rounding.
		if b.values[n] < s.Minimum-1e-9 {
			return math.Inf(1)
		}
		total += s.carriage(b.values[n])
	}
	return total
}

func (c *chooser) cost(choice []int) float64 { return c.total(c.put(choice)) }

func (s Supplier) carriage(value float64) float64 {
	if s.CarriageFree > 0 && value >= s.CarriageFree-1e-9 {
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
// all that it offers. Beyond some suppliers the largest alone are tried.
func (c *chooser) improve() []int {
	best := c.start(-1)
	least := c.descend(best)
	for _, preferred := range c.largest(mostStarts) {
		choice := c.start(preferred)
		if cost := c.descend(choice); cost < least {
			best, least = choice, cost
		}
	}
	return best
}

// mostStarts and mostRounds bound the moves that are tried.
const (
	mostStarts = 10
	mostRounds = 50
)

// largest gives the suppliers that offer most wishes, so many at most.
func (c *chooser) largest(most int) []int {
	counts := make([]int, len(c.suppliers))
	numbers := make([]int, len(c.suppliers))
	for n := range numbers {
		numbers[n] = n
	}
	for _, offers := range c.offers {
		for _, p := range offers {
			counts[p.supplier]++
		}
	}
	slices.SortStableFunc(numbers, func(a, b int) int { return counts[b] - counts[a] })
	return numbers[:min(most, len(numbers))]
}

// start chooses one supplier wherever it offers, and the cheapest elsewhere.
func (c *chooser) start(preferred int) []int {
	choice := make([]int, len(c.wishes))
	for i, offers := range c.offers {
		for j, p := range offers {
			now := offers[choice[i]]
			if p.supplier == preferred && now.supplier != preferred || (p.supplier == preferred) == (now.supplier == preferred) && p.cost < now.cost {
				choice[i] = j
			}
		}
	}
	return choice
}

// descend makes the moves that help until none does, and gives the cost.
func (c *chooser) descend(choice []int) float64 {
	least := c.cost(choice)
	for range mostRounds {
		before := least
		least = c.moveOrders(choice, c.moveLines(choice, least))
		if least == before { // nothing was moved
			break
		}
	}
	return c.cost(choice)
}

// moveLines gives single lines to other suppliers where that makes all cheaper.
func (c *chooser) moveLines(choice []int, least float64) float64 {
	b := c.put(choice)
	for i, offers := range c.offers {
		for j := range offers {
			if j == choice[i] {
				continue
			}
			b.add(offers[choice[i]], -1)
			b.add(offers[j], 1)
			if cost := c.total(b); cost < least-1e-9 {
				least, choice[i] = cost, j
				continue
			}
			b.add(offers[j], -1)
			b.add(offers[choice[i]], 1)
		}
	}
	return least
}

// moveOrders gives one supplier's whole order to another where that makes all cheaper.
func (c *chooser) moveOrders(choice []int, least float64) float64 {
	b := c.put(choice)
	for to := range c.suppliers {
		for from := range c.suppliers {
			if from == to || b.lines[from] == 0 {
				continue
			}
			moved := c.moved(choice, from, to)
			if cost := c.cost(moved); cost < least-1e-9 {
				copy(choice, moved)
				least, b = cost, c.put(choice)
			}
		}
	}
	return least
}

// moved gives one supplier's lines to another where it offers them.
func (c *chooser) moved(choice []int, from, to int) []int {
	moved := slices.Clone(choice)
	for i, offers := range c.offers {
		if offers[choice[i]].supplier != from {
			continue
		}
		for j, p := range offers {
			if p.supplier == to {
				moved[i] = j
			}
		}
	}
	return moved
}

func (c *chooser) basket(choice []int) Basket {
	b := c.put(choice)
	basket := Basket{Goods: b.goods}
	for n, s := range c.suppliers {
		if b.lines[n] > 0 {
			basket.Carriage += s.carriage(b.values[n])
		}
	}
	for i, w := range c.wishes {
		p := c.offers[i][choice[i]]
		l := Placed{Part: w.Part, Supplier: c.suppliers[p.supplier].Name, Quantity: p.quantity, Cost: p.cost}
		l.Reason = c.why(i, p, b.values[p.supplier])
		basket.Lines = append(basket.Lines, l)
	}
	return basket
}

// why tells why a wish is bought there.
func (c *chooser) why(i int, p priced, value float64) string {
	cheapest := math.Inf(1)
	for _, o := range c.offers[i] {
		cheapest = math.Min(cheapest, o.cost)
	}
	s := c.suppliers[p.supplier]
	var reason string
	switch {
	case p.cost <= cheapest:
		reason = fmt.Sprintf("%s is cheapest for it at %.2f", s.Name, p.cost)
	case s.CarriageFree > 0 && value >= s.CarriageFree:
		reason = fmt.Sprintf("%.2f dearer at %s, whose order comes free of carriage with it", p.cost-cheapest, s.Name)
	default:
		reason = fmt.Sprintf("%.2f dearer at %s, which saves another order's carriage or meets its minimum", p.cost-cheapest, s.Name)
	}
	if p.quantity > c.wishes[i].Quantity {
		reason += fmt.Sprintf("; %d made %d by pack, minimum or a lower price", c.wishes[i].Quantity, p.quantity)
	}
	return reason
}
