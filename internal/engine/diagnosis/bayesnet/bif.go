package bayesnet

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// SyntaxError says where a text is not BIF.
type SyntaxError struct {
	Line    int
	Problem string
}

func (e *SyntaxError) Error() string { return fmt.Sprintf("line %d: %s", e.Line, e.Problem) }

// ReadBIF reads a network in the Bayesian Interchange Format as it is published: discrete variables,
// tables, rows by parents' states, defaults; properties are passed over. Its error is a
// *SyntaxError or an *InvalidError.
func ReadBIF(text string) (*Network, error) {
	p := &parser{tokens: tokenize(text), index: map[string]int{}, network: &Network{}}
	for p.peek().text != "" {
		var err error
		switch t := p.next(); t.text {
		case "network":
			err = p.header()
		case "variable":
			err = p.variable()
		case "probability":
			err = p.probability()
		default:
			err = p.fail(t, "expected network, variable or probability")
		}
		if err != nil {
			return nil, err
		}
	}
	if err := p.network.Check(); err != nil {
		return nil, err
	}
	return p.network, nil
}

type parser struct {
	tokens  []token
	at      int
	index   map[string]int
	network *Network
}

func (p *parser) peek() token { return p.tokens[p.at] }

func (p *parser) next() token {
	t := p.tokens[p.at]
	if t.text != "" {
		p.at++
	}
	return t
}

func (p *parser) fail(t token, problem string) error {
	if t.text == "" {
		return &SyntaxError{t.line, problem + ", found the end"}
	}
	return &SyntaxError{t.line, fmt.Sprintf("%s, found %q", problem, t.text)}
}

func (p *parser) expect(texts ...string) error {
	for _, want := range texts {
		if t := p.next(); t.text != want {
			return p.fail(t, fmt.Sprintf("expected %q", want))
		}
	}
	return nil
}

// skipProperty passes over a property up to its semicolon.
func (p *parser) skipProperty() {
	for t := p.next(); t.text != ";" && t.text != ""; {
		t = p.next()
	}
}

func (p *parser) header() error {
	for p.peek().text != "{" && p.peek().text != "" {
		p.network.Name = p.next().text
	}
	if err := p.expect("{"); err != nil {
		return err
	}
	for p.peek().text == "property" {
		p.skipProperty()
	}
	return p.expect("}")
}

func (p *parser) variable() error {
	name := p.next()
	if _, twice := p.index[name.text]; twice {
		return p.fail(name, "variable given twice")
	}
	v := Variable{Name: name.text}
	if err := p.expect("{"); err != nil {
		return err
	}
	for p.peek().text != "}" {
		switch t := p.next(); t.text {
		case "property":
			p.skipProperty()
		case "type":
			states, err := p.states()
			if err != nil {
				return err
			}
			v.States = states
		default:
			return p.fail(t, "expected type or property")
		}
	}
	p.index[v.Name] = len(p.network.Variables)
	p.network.Variables = append(p.network.Variables, v)
	return p.expect("}")
}

func (p *parser) states() ([]string, error) {
	if err := p.expect("discrete", "["); err != nil {
		return nil, err
	}
	count := p.next()
	n, err := strconv.Atoi(count.text)
	if err != nil {
		return nil, p.fail(count, "expected the number of states")
	}
	if err := p.expect("]", "{"); err != nil {
		return nil, err
	}
	states, err := p.words("}")
	if err != nil {
		return nil, err
	}
	if len(states) != n {
		return nil, p.fail(count, fmt.Sprintf("%d states are listed", len(states)))
	}
	return states, p.expect(";")
}

// words reads names up to the given end, with or without commas between.
func (p *parser) words(end string) ([]string, error) {
	var out []string
	for {
		switch t := p.next(); {
		case t.text == end:
			return out, nil
		case t.text == "" || t.text != "," && strings.Contains(punctuation, t.text):
			return nil, p.fail(t, fmt.Sprintf("expected a name or %q", end))
		case t.text != ",":
			out = append(out, t.text)
		}
	}
}

func (p *parser) probability() error {
	if err := p.expect("("); err != nil {
		return err
	}
	name := p.next()
	at, known := p.index[name.text]
	if !known {
		return p.fail(name, "expected a variable")
	}
	v := &p.network.Variables[at]
	if p.peek().text == "|" {
		p.next()
	}
	line := p.peek()
	parents, err := p.words(")")
	if err != nil {
		return err
	}
	v.Parents = nil
	for _, parent := range parents {
		i, known := p.index[parent]
		if !known || slices.Contains(v.Parents, i) {
			return p.fail(line, fmt.Sprintf("parent %q is unknown or given twice", parent))
		}
		v.Parents = append(v.Parents, i)
	}
	if err := p.expect("{"); err != nil {
		return err
	}
	return p.rows(v)
}

// rows reads the entries of a probability block.
func (p *parser) rows(v *Variable) error {
	size := len(v.States)
	for _, parent := range v.Parents {
		if size *= len(p.network.Variables[parent].States); size > maxEntries {
			return &TooLargeError{float64(size)}
		}
	}
	v.Table = slices.Repeat([]float64{-1}, size) // Check finds what no row fills
	for p.peek().text != "}" {
		var err error
		switch t := p.next(); t.text {
		case "property":
			p.skipProperty()
		case "table":
			err = p.table(v)
		case "default":
			err = p.defaults(v)
		case "(":
			err = p.row(v)
		default:
			err = p.fail(t, "expected table, default or the parents' states")
		}
		if err != nil {
			return err
		}
	}
	return p.expect("}")
}

func (p *parser) numbers(count int) ([]float64, error) {
	start := p.peek()
	words, err := p.words(";")
	if err != nil {
		return nil, err
	}
	if len(words) != count {
		return nil, p.fail(start, fmt.Sprintf("expected %d probabilities, not %d", count, len(words)))
	}
	out := make([]float64, count)
	for i, w := range words {
		if out[i], err = strconv.ParseFloat(w, 64); err != nil {
			return nil, p.fail(start, fmt.Sprintf("%q is no number", w))
		}
	}
	return out, nil
}

func (p *parser) row(v *Variable) error {
	start := p.peek()
	states, err := p.words(")")
	if err != nil {
		return err
	}
	if len(states) != len(v.Parents) {
		return p.fail(start, fmt.Sprintf("expected %d states of parents", len(v.Parents)))
	}
	at := 0
	for i, parent := range v.Parents {
		list := p.network.Variables[parent].States
		s := slices.Index(list, states[i])
		if s < 0 {
			return p.fail(start, fmt.Sprintf("%s has no state %q", p.network.Variables[parent].Name, states[i]))
		}
		at = at*len(list) + s
	}
	values, err := p.numbers(len(v.States))
	if err != nil {
		return err
	}
	copy(v.Table[at*len(v.States):], values)
	return nil
}

func (p *parser) defaults(v *Variable) error {
	values, err := p.numbers(len(v.States))
	if err != nil {
		return err
	}
	for at := 0; at < len(v.Table); at += len(values) {
		if v.Table[at] < 0 {
			copy(v.Table[at:], values)
		}
	}
	return nil
}

// table reads all probabilities at once. Published files differ in whether the variable's own
// state changes slowest or fastest; the reading whose rows sum up to 1 is taken, the former first.
func (p *parser) table(v *Variable) error {
	values, err := p.numbers(len(v.Table))
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
	if !rowsSumToOne(slowest, len(v.States)) && rowsSumToOne(values, len(v.States)) {
		v.Table = values
	}
	return nil
}

func rowsSumToOne(table []float64, states int) bool {
	for row := range slices.Chunk(table, states) {
		sum := 0.0
		for _, x := range row {
			sum += x
		}
		if sum < 1-rowTolerance || sum > 1+rowTolerance {
			return false
		}
	}
	return true
}
