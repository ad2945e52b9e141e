package bayesnet

import (
	"fmt"
	"slices"
	"strconv"
)

// SyntaxError says where a text is not BIF.
type SyntaxError struct {
	Line    int
	Problem string
}

func (e *SyntaxError) Error() string { return fmt.Sprintf("line %d: %s", e.Line, e.Problem) }

// ReadBIF reads a network in the Bayesian Interchange Format as it is published: discrete variables in
// any order with their probabilities, tables, rows by parents' states, defaults; properties and comments are
// passed over. Rows that differ from 1 by rounding are scaled to it (Network.Rounding says how far they
// were off). Its error is a *SyntaxError, an *InvalidError or a *TooLargeError.
func ReadBIF(text string) (*Network, error) {
	p := &parser{tokens: tokenize(text), index: map[string]int{}, network: &Network{}}
	for p.peek().kind != end {
		var err error
		switch t := p.next(); {
		case t.is("network"):
			err = p.header()
		case t.is("variable"):
			err = p.variable()
		case t.is("probability"):
			err = p.probability()
		case t.is(";"): // some writers end a block with one
		default:
			err = p.fail(t, "expected network, variable or probability")
		}
		if err != nil {
			return nil, err
		}
	}
	for _, b := range p.blocks {
		if err := p.fill(b); err != nil {
			return nil, err
		}
	}
	p.network.scaleRows()
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
	blocks  []block
}

// block is a probability block, kept until all variables are known.
type block struct {
	name    token
	parents []token
	entries []entry
}

// entry is one line of a block: all probabilities, a default row, or the row for the parents' states.
type entry struct {
	kind    token // table, default or (
	states  []token
	numbers []token
	until   token // where the numbers end
}

func (p *parser) peek() token { return p.tokens[p.at] }

func (p *parser) next() token {
	t := p.tokens[p.at]
	if t.kind != end {
		p.at++
	}
	return t
}

func (p *parser) fail(t token, problem string) error {
	if t.kind == end {
		return &SyntaxError{t.line, problem + ", found the end"}
	}
	return &SyntaxError{t.line, fmt.Sprintf("%s, found %q", problem, t.text)}
}

func (p *parser) expect(texts ...string) error {
	for _, want := range texts {
		if t := p.next(); !t.is(want) {
			return p.fail(t, fmt.Sprintf("expected %q", want))
		}
	}
	return nil
}

// name takes the next token where it can be a name.
func (p *parser) name(what string) (token, error) {
	t := p.next()
	if !t.named() || t.text == "" {
		return t, p.fail(t, "expected "+what)
	}
	return t, nil
}

// skipProperty passes over a property up to its semicolon.
func (p *parser) skipProperty() {
	for t := p.next(); !t.is(";") && t.kind != end; {
		t = p.next()
	}
}

func (p *parser) header() error {
	for p.peek().named() {
		p.network.Name = p.next().text
	}
	if err := p.expect("{"); err != nil {
		return err
	}
	for p.peek().is("property") {
		p.skipProperty()
	}
	return p.expect("}")
}

func (p *parser) variable() error {
	name, err := p.name("the name of a variable")
	if err != nil {
		return err
	}
	if _, twice := p.index[name.text]; twice {
		return p.fail(name, "variable given twice")
	}
	v := Variable{Name: name.text}
	if err := p.expect("{"); err != nil {
		return err
	}
	for !p.peek().is("}") {
		switch t := p.next(); {
		case t.is("property"):
			p.skipProperty()
		case t.is("type"):
			if v.States, err = p.states(); err != nil {
				return err
			}
		default:
			return p.fail(t, "expected type or property")
		}
	}
	if len(v.States) == 0 {
		return p.fail(name, "variable without states")
	}
	p.index[v.Name] = len(p.network.Variables)
	p.network.Variables = append(p.network.Variables, v)
	return p.expect("}")
}

// states reads the type; the number of states may be left out, but not be wrong.
func (p *parser) states() ([]string, error) {
	if t := p.next(); !t.is("discrete") {
		return nil, p.fail(t, "only discrete variables have exact answers here; expected \"discrete\"")
	}
	count := p.peek()
	stated := -1
	if count.is("[") {
		p.next()
		count = p.next()
		n, err := strconv.Atoi(count.text)
		if err != nil {
			return nil, p.fail(count, "expected the number of states")
		}
		if stated = n; p.expect("]") != nil {
			return nil, p.fail(count, "expected the number of states in brackets")
		}
	}
	if err := p.expect("{"); err != nil {
		return nil, err
	}
	tokens, _, err := p.words("}")
	if err != nil {
		return nil, err
	}
	states := make([]string, 0, len(tokens))
	for _, t := range tokens {
		if slices.Contains(states, t.text) {
			return nil, p.fail(t, "state given twice")
		}
		states = append(states, t.text)
	}
	if stated >= 0 && len(states) != stated {
		return nil, p.fail(count, fmt.Sprintf("%d states are listed", len(states)))
	}
	if p.peek().is(";") {
		p.next()
	}
	return states, nil
}

// words reads names up to the given mark, with or without commas between.
func (p *parser) words(until string) (list []token, stop token, err error) {
	for {
		switch t := p.next(); {
		case t.is(until):
			return list, t, nil
		case t.named():
			list = append(list, t)
		case !t.is(","):
			return nil, t, p.fail(t, fmt.Sprintf("expected a name or %q", until))
		}
	}
}

// probability reads a block. Older files list the parents behind the variable without a bar.
func (p *parser) probability() error {
	if err := p.expect("("); err != nil {
		return err
	}
	name, err := p.name("a variable")
	if err != nil {
		return err
	}
	if t := p.peek(); t.is("|") || t.is(",") {
		p.next()
	}
	b := block{name: name}
	if b.parents, _, err = p.words(")"); err != nil {
		return err
	}
	if err := p.expect("{"); err != nil {
		return err
	}
	for !p.peek().is("}") {
		e := entry{kind: p.next()}
		switch {
		case e.kind.is("property"):
			p.skipProperty()
			continue
		case e.kind.is("table"), e.kind.is("default"):
		case e.kind.is("("):
			if e.states, _, err = p.words(")"); err != nil {
				return err
			}
		default:
			return p.fail(e.kind, "expected table, default or the parents' states")
		}
		if e.numbers, e.until, err = p.words(";"); err != nil {
			return err
		}
		b.entries = append(b.entries, e)
	}
	p.blocks = append(p.blocks, b)
	return p.expect("}")
}
