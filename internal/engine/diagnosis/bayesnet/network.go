// Package bayesnet answers queries on discrete Bayesian networks exactly, and reads them from the
// public BIF format. The workshop's own diagnosis does not need it: it is the yardstick that holds
// the exact methods against networks that other people have published.
package bayesnet

import (
	"fmt"
	"math"
	"slices"
)

// Variable is a discrete variable with its parents and its conditional probabilities.
type Variable struct {
	Name   string
	States []string
	// Parents are indexes into Network.Variables.
	Parents []int
	// Table is P(state | parents): parents first, in their order, the last of them changing faster
	// than those before it, and the variable's own state fastest of all.
	Table []float64
}

// Network is a directed acyclic graph of variables.
type Network struct {
	Name      string
	Variables []Variable
	// Rounding is how far the worst row of a file was from 1 before it was scaled.
	Rounding float64
}

// InvalidError says what is wrong with a network or a query.
type InvalidError struct{ Problem string }

func (e *InvalidError) Error() string { return e.Problem }

func invalid(format string, args ...any) error { return &InvalidError{fmt.Sprintf(format, args...)} }

// ImpossibleError says that the evidence has probability 0 in the network.
type ImpossibleError struct{}

func (*ImpossibleError) Error() string {
	return "this evidence cannot occur in the network; take some of it back"
}

// Index finds a variable by name.
func (n *Network) Index(name string) (int, bool) {
	i := slices.IndexFunc(n.Variables, func(v Variable) bool { return v.Name == name })
	return i, i >= 0
}

// rowTolerance is how far a published row of probabilities may be from 1 through rounding.
const rowTolerance = 0.01

// Check reports tables of the wrong size, rows that do not sum up to 1, and cycles.
func (n *Network) Check() error {
	for _, v := range n.Variables {
		if len(v.States) == 0 {
			return invalid("variable %s has no states", v.Name)
		}
		size := len(v.States)
		for _, p := range v.Parents {
			size *= len(n.Variables[p].States)
		}
		if v.Table == nil {
			return invalid("variable %s has no probabilities", v.Name)
		}
		if len(v.Table) != size {
			return invalid("variable %s has %d probabilities, not %d", v.Name, len(v.Table), size)
		}
		for row := range slices.Chunk(v.Table, len(v.States)) {
			if err := checkRow(v.Name, row); err != nil {
				return err
			}
		}
	}
	return n.checkAcyclic()
}

func checkRow(name string, row []float64) error {
	for _, p := range row {
		if p == unfilled {
			return invalid("variable %s has no probabilities for some states of its parents", name)
		}
		if !(p >= 0 && p <= 1) {
			return invalid("variable %s has a probability of %v", name, p)
		}
	}
	if sum := sumOf(row); math.Abs(sum-1) > rowTolerance {
		return invalid("variable %s has probabilities that sum up to %v, not 1", name, sum)
	}
	return nil
}

func (n *Network) checkAcyclic() error {
	const open, done = 1, 2
	mark := make([]int, len(n.Variables))
	var visit func(v int) error
	visit = func(v int) error {
		if mark[v] == done {
			return nil
		}
		if mark[v] == open {
			return invalid("variable %s is its own ancestor", n.Variables[v].Name)
		}
		mark[v] = open
		for _, p := range n.Variables[v].Parents {
			if err := visit(p); err != nil {
				return err
			}
		}
		mark[v] = done
		return nil
	}
	for v := range n.Variables {
		if err := visit(v); err != nil {
			return err
		}
	}
	return nil
}
