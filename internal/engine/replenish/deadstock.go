package replenish

import "fmt"

// Lying is a part on the shelf with what was taken of it.
type Lying struct {
	OnHand int64
	Held   int64 // or wanted: it is not dead while a job waits
	// Taken in the last so many periods.
	Taken   float64
	Periods float64
	// UnitValue of one unit, in any money.
	UnitValue float64
}

// Dead is stock that nobody takes.
type Dead struct {
	// Quantity that is more than will be taken within the horizon.
	Quantity int64
	Value    float64
	Reason   string
}

// DeadStock says how much of a part lies there for nothing: what is not held and
// will not be taken within a horizon in periods, at the rate of the past. A part
// that was watched for less than half the horizon says nothing yet. Common
// practice, no source.
func DeadStock(l Lying, horizon float64) (Dead, error) {
	if err := firstUnmet(notNegative("OnHand", float64(l.OnHand)), notNegative("Held", float64(l.Held)), notNegative("Taken", l.Taken),
		notNegative("Periods", l.Periods), notNegative("UnitValue", l.UnitValue), positive("horizon", horizon)); err != nil {
		return Dead{}, err
	}
	if l.Periods < horizon/2 {
		return Dead{}, nil
	}
	free := max(0, l.OnHand-l.Held)
	needed := int64(l.Taken / l.Periods * horizon)
	d := Dead{Quantity: max(0, free-needed)}
	d.Value = float64(d.Quantity) * l.UnitValue
	switch {
	case d.Quantity == 0:
	case l.Taken == 0:
		d.Reason = fmt.Sprintf("none was taken in %.0f periods, %d lie free", l.Periods, free)
	default:
		d.Reason = fmt.Sprintf("%.2g a period are taken, so %d of the %d that lie free outlast %.0f periods",
			l.Taken/l.Periods, d.Quantity, free, horizon)
	}
	return d, nil
}
