package chart

import "fmt"

// factors of a control chart for one group size.
type factors struct{ a2, d2, d3, lower, upper float64 }

// table holds A2, d2, d3, D3 and D4 for groups of 2 to 10, as printed in the
// handbooks (identical in ASTM E2587).
var table = map[int]factors{
	2:  {1.880, 1.128, 0.853, 0, 3.267},
	3:  {1.023, 1.693, 0.888, 0, 2.574},
	4:  {0.729, 2.059, 0.880, 0, 2.282},
	5:  {0.577, 2.326, 0.864, 0, 2.114},
	6:  {0.483, 2.534, 0.848, 0, 2.004},
	7:  {0.419, 2.704, 0.833, 0.076, 1.924},
	8:  {0.373, 2.847, 0.820, 0.136, 1.864},
	9:  {0.337, 2.970, 0.808, 0.184, 1.816},
	10: {0.308, 3.078, 0.797, 0.223, 1.777},
}

// DataError says why readings cannot be charted.
type DataError struct{ Problem string }

// Error implements error.
func (e *DataError) Error() string { return e.Problem }

func wrong(format string, args ...any) error {
	return &DataError{Problem: fmt.Sprintf(format, args...)}
}
