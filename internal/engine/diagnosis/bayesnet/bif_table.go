package bayesnet

import (
	"fmt"
	"math"
	"slices"
	"strconv"
)

// maxConditional bounds the table of one variable: 128 MB.
const maxConditional = 1 << 24

// fill turns a probability block into its variable's table.
func (p *parser) fill(b block) error {
	at, known := p.index[b.name.text]
	if !known {
		return p.fail(b.name, "expected a variable")
	}
	v := &p.network.Variables[at]
	if v.Table != nil {
		return p.fail(b.name, "probabilities given twice")
	}
	size := len(v.States)
	for _, parent := range b.parents {
		i, known := p.index[parent.text]
		if !known || slices.Contains(v.Parents, i) {
			return &SyntaxError{parent.line, fmt.Sprintf("parent %q is unknown or given twice", parent.text)}
		}
		v.Parents = append(v.Parents, i)
		if size *= len(p.network.Variables[i].States); size > maxConditional {
			return &TooLargeError{Effort: Effort{Largest: float64(size), Bytes: 8 * float64(size)}, Limit: 8 * maxConditional}
		}
	}
	v.Table = slices.Repeat([]float64{unfilled}, size)
	return p.entries(v, b.entries)
}

// unfilled marks what no entry fills; Check finds it.
const unfilled = -1

// entries fills the table. What is given for certain states, or for all, counts more than a default,
// wherever that stands.
func (p *parser) entries(v *Variable, list []entry) error {
	for _, e := range list {
		var err error
		switch {
		case e.kind.is("table"):
			err = p.table(v, e)
		case e.kind.is("("):
			err = p.row(v, e)
		}
		if err != nil {
			return err
		}
	}
	for _, e := range list {
		if !e.kind.is("default") {
			continue
		}
		values, err := p.numbers(e, len(v.States))
		if err != nil {
			return err
		}
		for at := 0; at < len(v.Table); at += len(values) {
			if v.Table[at] == unfilled {
				copy(v.Table[at:], values)
			}
		}
	}
	return nil
}

func (p *parser) numbers(e entry, count int) ([]float64, error) {
	if len(e.numbers) != count {
		return nil, &SyntaxError{e.until.line, fmt.Sprintf("expected %d probabilities, not %d", count, len(e.numbers))}
	}
	out := make([]float64, count)
	for i, t := range e.numbers {
		x, err := strconv.ParseFloat(t.text, 64)
		if err != nil {
			return nil, &SyntaxError{t.line, fmt.Sprintf("%q is no number", t.text)}
		}
		if !(x >= 0 && x <= 1+rowTolerance) {
			return nil, &SyntaxError{t.line, fmt.Sprintf("%q is no probability", t.text)}
		}
		out[i] = x
	}
	return out, nil
}

func (p *parser) row(v *Variable, e entry) error {
	if len(e.states) != len(v.Parents) {
		return &SyntaxError{e.kind.line, fmt.Sprintf("expected %d states of parents, not %d", len(v.Parents), len(e.states))}
	}
	at := 0
	for i, parent := range v.Parents {
		list := p.network.Variables[parent].States
		s := slices.Index(list, e.states[i].text)
		if s < 0 {
			return &SyntaxError{e.states[i].line, fmt.Sprintf("%s has no state %q", p.network.Variables[parent].Name, e.states[i].text)}
		}
		at = at*len(list) + s
	}
	values, err := p.numbers(e, len(v.States))
	if err != nil {
		return err
	}
	copy(v.Table[at*len(v.States):], values)
	return nil
}

// table reads all probabilities at once. Published files differ in whether the variable's own
// state changes slowest (as the format says) or fastest; the reading whose rows sum up to 1 is taken,
// the former first.
func (p *parser) table(v *Variable, e entry) error {
	values, err := p.numbers(e, len(v.Table))
	if err != nil {
		return err
	}
	rows := len(values) / len(v.States)
	slowest := make([]float64, len(values))
	for s := range v.States {
		for row := range rows {
			slowest[row*len(v.States)+s] = values[s*rows+row]
		}
	}
	v.Table = slowest
	if farthestRow(slowest, len(v.States)) > rowTolerance && farthestRow(values, len(v.States)) <= rowTolerance {
		v.Table = values
	}
	return nil
}

// farthestRow is how far the worst row's sum is from 1.
func farthestRow(table []float64, states int) float64 {
	worst := 0.0
	for row := range slices.Chunk(table, states) {
		worst = max(worst, math.Abs(sumOf(row)-1))
	}
	return worst
}

func sumOf(values []float64) float64 {
	sum := 0.0
	for _, x := range values {
		sum += x
	}
	return sum
}

// scaleRows makes rows that were rounded for printing sum up to 1, so that what has no bearing on a
// question can be left out without changing its answer.
func (n *Network) scaleRows() {
	for _, v := range n.Variables {
		if slices.Contains(v.Table, unfilled) {
			continue
		}
		for row := range slices.Chunk(v.Table, len(v.States)) {
			sum := sumOf(row)
			off := math.Abs(sum - 1)
			if off > rowTolerance {
				continue
			}
			n.Rounding = max(n.Rounding, off)
			for i := range row {
				row[i] /= sum
			}
		}
	}
}
