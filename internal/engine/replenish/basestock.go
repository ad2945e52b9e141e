package replenish

// Service is what a base stock of whole units gives when demand is Poisson and
// every unit taken is ordered again at once.
type Service struct {
	Stock int
	// Ready is the share of time with something on the shelf or nothing asked
	// for that is missing: P(D <= S).
	Ready float64
	// Fill is the share of units given at once. One who comes finds the shelf
	// empty if S are already on their way, so it is P(D <= S-1), not P(D <= S).
	Fill float64
	// Waiting is the expected number of units that customers wait for.
	Waiting float64
	// OnHand is the expected number of units on the shelf.
	OnHand float64
}

// BaseStockService is what a base stock gives if the mean number of units on
// order is pipeline (demand per period times lead time). By Palm's theorem
// only the mean of the lead time matters.
func BaseStockService(pipeline float64, stock int) (Service, error) {
	if err := firstUnmet(notNegative("pipeline", pipeline), notNegative("stock", float64(stock))); err != nil {
		return Service{}, err
	}
	waiting := PoissonLoss(pipeline, stock)
	return Service{
		Stock:   stock,
		Ready:   PoissonAtMost(pipeline, stock),
		Fill:    PoissonAtMost(pipeline, stock-1),
		Waiting: waiting,
		OnHand:  float64(stock) - pipeline + waiting,
	}, nil
}

// BaseStock is the smallest base stock that reaches a fill rate.
func BaseStock(pipeline, fill float64) (Service, error) {
	if err := firstUnmet(notNegative("pipeline", pipeline), inside("fill", fill)); err != nil {
		return Service{}, err
	}
	return BaseStockService(pipeline, PoissonQuantile(pipeline, fill)+1)
}
