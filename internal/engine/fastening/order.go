package fastening

import (
	"fmt"
	"slices"
)

// Pattern is how an order goes over the fasteners of a joint.
type Pattern int

// The patterns.
const (
	Numbered   Pattern = iota + 1 // in the order of their numbers
	FromMiddle                    // a line, from the middle outwards
	Cross                         // a circle, opposite ones in turn
	Circle                        // a circle, round and round
	Listed                        // as the specification lists them
)

// legacyGroups is the order of the groups of four in the published flange
// guideline's legacy cross sequences, for 8, 12 … 32 bolts.
var legacyGroups = map[int][]int{
	2: {1, 2},
	3: {1, 2, 3},
	4: {1, 3, 2, 4},
	5: {1, 3, 5, 2, 4},
	6: {1, 4, 2, 5, 3, 6},
	7: {1, 4, 6, 2, 5, 7, 3},
	8: {1, 5, 3, 7, 2, 6, 4, 8},
}

// Order gives the sequence over n fasteners, numbered from 1; listed is needed
// for Listed only. The error is a *SpecError.
func Order(p Pattern, n int, listed []int) ([]int, error) {
	if n < 1 {
		return nil, &SpecError{Problem: "a joint has at least one fastener"}
	}
	switch p {
	case Numbered, Circle:
		return upTo(n), nil
	case FromMiddle:
		return fromMiddle(n), nil
	case Cross:
		return cross(n), nil
	case Listed:
		if !isPermutation(listed, n) {
			return nil, &SpecError{Problem: fmt.Sprintf("the listed order must name each of the fasteners 1 to %d once", n)}
		}
		return slices.Clone(listed), nil
	default:
		return nil, &SpecError{Problem: fmt.Sprintf("pattern %d is not known", p)}
	}
}

func upTo(n int) []int {
	order := make([]int, n)
	for i := range order {
		order[i] = i + 1
	}
	return order
}

// fromMiddle alternates to both sides: 5 6 4 7 3 … of ten.
func fromMiddle(n int) []int {
	middle := (n + 1) / 2
	order := []int{middle}
	for reach := 1; len(order) < n; reach++ {
		for _, f := range []int{middle + reach, middle - reach} {
			if f >= 1 && f <= n {
				order = append(order, f)
			}
		}
	}
	return order
}

// cross jumps to the opposite fastener at every other step. Multiples of four
// follow the legacy sequences; the rest keep the same idea.
func cross(n int) []int {
	var order []int
	switch {
	case n%4 == 0:
		quarter := n / 4
		for _, k := range spread(quarter) {
			order = append(order, k, k+2*quarter, k+quarter, k+3*quarter)
		}
	case n%2 == 0:
		for _, k := range spread(n / 2) {
			order = append(order, k, k+n/2)
		}
	default:
		order = star(n)
	}
	return order
}

// spread orders 1 to n so that successors lie far apart.
func spread(n int) []int {
	if groups, ok := legacyGroups[n]; ok {
		return groups
	}
	if n%2 == 1 {
		return star(n)
	}
	var order []int
	for k := 1; k <= n/2; k++ {
		order = append(order, k, k+n/2)
	}
	return order
}

// star goes on by just under half a turn, which meets every one of an odd number.
func star(n int) []int {
	step := max((n-1)/2, 1)
	order := make([]int, n)
	for i := range order {
		order[i] = i*step%n + 1
	}
	return order
}

// neighbours gives the fasteners whose clamping one fastener can take away
// when it turns. Order alone is known here, so the layout is read off it:
// a line or a circle if the order is that of one, all others if it cannot be told.
func neighbours(order []int, fastener int) []int {
	n := len(order)
	var near []int
	switch {
	case slices.Equal(order, fromMiddle(n)):
		for _, f := range []int{fastener - 1, fastener + 1} {
			if f >= 1 && f <= n {
				near = append(near, f)
			}
		}
	case n > 3 && slices.Equal(order, cross(n)):
		near = []int{(fastener+n-2)%n + 1, fastener%n + 1}
	default:
		for f := 1; f <= n; f++ {
			if f != fastener {
				near = append(near, f)
			}
		}
	}
	return near
}
