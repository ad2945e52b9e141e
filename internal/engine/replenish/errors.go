package replenish

import (
	"fmt"
	"math"
)

// InputError says which input cannot be computed with, and why.
type InputError struct {
	Field  string
	Value  float64
	Reason string
}

// Error implements error.
func (e *InputError) Error() string {
	return fmt.Sprintf("%s is %v and %s", e.Field, e.Value, e.Reason)
}

// need is one condition on an input.
type need struct {
	field  string
	value  float64
	met    bool
	reason string
}

// firstUnmet gives the first condition that does not hold as an error.
func firstUnmet(needs ...need) error {
	for _, n := range needs {
		if !n.met || math.IsNaN(n.value) {
			return &InputError{Field: n.field, Value: n.value, Reason: n.reason}
		}
	}
	return nil
}

func positive(field string, v float64) need {
	return need{field, v, v > 0 && !math.IsInf(v, 0), "must be finite and above 0"}
}

func notNegative(field string, v float64) need {
	return need{field, v, v >= 0 && !math.IsInf(v, 0), "must be finite and not below 0"}
}

// inside holds for a probability that is neither impossible nor certain.
func inside(field string, v float64) need {
	return need{field, v, v > 0 && v < 1, "must lie between 0 and 1, both excluded"}
}
