package partmaster

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"

	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// MaxRows bounds one file, so that what it changes fits one commit.
const MaxRows = 5000

// Mistake is what keeps a line out.
type Mistake struct {
	Line   int
	Column string // empty: the line as a whole
	Text   string
}

// String tells it as people read it.
func (m Mistake) String() string {
	if m.Column == "" {
		return fmt.Sprintf("line %d: %s", m.Line, m.Text)
	}
	return fmt.Sprintf("line %d, %s: %s", m.Line, m.Column, m.Text)
}

// Row is a line that can be read.
type Row struct {
	Line   int
	Number string
	cells  map[string]string
}

// byteOrderMark stands at the beginning of files from some spreadsheets.
const byteOrderMark = "\ufeff"

// Read takes a file apart. Mistakes of its form are told by line; whether a row's
// cells make a part is told by Apply, which knows the part as it was.
func Read(text string) ([]Row, []Mistake) {
	names := make([]string, 0, len(columns()))
	for _, c := range columns() {
		names = append(names, c.name)
	}
	read, mistakes := readTable(text, names, numberColumn)
	var rows []Row
	seen := map[string]int{}
	for _, row := range read {
		row.Number = row.cells[numberColumn]
		if first, twice := seen[row.Number]; twice {
			mistakes = append(mistakes, Mistake{row.Line, numberColumn, fmt.Sprintf("%s stands on line %d already", row.Number, first)})
			continue
		}
		seen[row.Number] = row.Line
		rows = append(rows, row)
	}
	return rows, mistakes
}

// readTable takes a file with some columns apart, one of which is needed.
func readTable(text string, names []string, needed string) ([]Row, []Mistake) {
	if !utf8.ValidString(text) {
		return nil, []Mistake{{Line: 1, Text: "the file is no text in UTF-8; save it as CSV in UTF-8"}}
	}
	r := csv.NewReader(strings.NewReader(strings.TrimPrefix(text, byteOrderMark)))
	r.FieldsPerRecord = -1
	head, err := r.Read()
	if err != nil {
		return nil, []Mistake{{Line: 1, Text: "the first line must name the columns, as in " + strings.Join(names[:3], ",") + ": " + unquoted(err)}}
	}
	mistakes := checkHead(head, names, needed)
	if len(mistakes) > 0 {
		return nil, mistakes
	}
	var rows []Row
	for {
		record, err := r.Read()
		if errors.Is(err, io.EOF) {
			return rows, mistakes
		}
		line := 0
		if broken, is := errors.AsType[*csv.ParseError](err); is {
			line = broken.StartLine
		} else if len(record) > 0 {
			line, _ = r.FieldPos(0)
		}
		switch {
		case err != nil:
			// What follows a broken quote cannot be told apart any more.
			return rows, append(mistakes, Mistake{Line: line, Text: unquoted(err)})
		case len(record) != len(head):
			mistakes = append(mistakes, Mistake{Line: line, Text: fmt.Sprintf("%d cells stand here, and there are %d columns", len(record), len(head))})
			continue
		case len(rows) == MaxRows:
			return rows, append(mistakes, Mistake{Line: line, Text: fmt.Sprintf("a file may have %d lines; split it", MaxRows)})
		}
		row := Row{Line: line, cells: map[string]string{}}
		for i, name := range head {
			row.cells[strings.TrimSpace(name)] = strings.TrimSpace(record[i])
		}
		rows = append(rows, row)
	}
}

// unquoted tells a reader's complaint without its own count of lines.
func unquoted(err error) string {
	switch broken, is := errors.AsType[*csv.ParseError](err); {
	case errors.Is(err, io.EOF):
		return "the file is empty"
	case is && errors.Is(broken.Err, csv.ErrQuote):
		return `a quotation mark is not closed or not doubled; write "" for one within a cell`
	case is:
		return broken.Err.Error()
	default:
		return err.Error()
	}
}

func checkHead(head, names []string, needed string) []Mistake {
	var mistakes []Mistake
	seen := map[string]bool{}
	for _, cell := range head {
		name := strings.TrimSpace(cell)
		switch {
		case !slices.Contains(names, name):
			mistakes = append(mistakes, Mistake{1, name, "there is no such column; use " + strings.Join(names, ", ")})
		case seen[name]:
			mistakes = append(mistakes, Mistake{1, name, "the column stands there twice"})
		}
		seen[name] = true
	}
	if !seen[needed] {
		mistakes = append(mistakes, Mistake{1, needed, "this column is needed: each line is told apart by it"})
	}
	return mistakes
}

// Apply gives a known part what a row says of it; nil begins a new one. All
// mistakes of the row are told.
func (r Row) Apply(known *inventoryv1.Part) (*inventoryv1.Part, []Mistake) {
	p := &inventoryv1.Part{}
	if known != nil {
		p = proto.CloneOf(known)
	}
	var mistakes []Mistake
	currency := currencyOf(p)
	if given := r.cells[currencyColumn]; given != "" {
		currency = given
	}
	for _, c := range columns() {
		cell, given := r.cells[c.name]
		if !given || c.set == nil {
			continue
		}
		if err := c.set(p, cell, currency); err != nil {
			mistakes = append(mistakes, Mistake{r.Line, c.name, err.Error()})
		}
	}
	if given := r.cells[currencyColumn]; given != "" && !isCurrency(given) {
		mistakes = append(mistakes, Mistake{r.Line, currencyColumn, fmt.Sprintf("%q is no currency; write three letters, as in EUR", given)})
	}
	if len(mistakes) > 0 {
		return nil, mistakes
	}
	p.Name = "parts/" + p.GetNumber()
	return p, r.ruled(p)
}

// ruled tells what the rules of the interface have against a part.
func (r Row) ruled(p *inventoryv1.Part) []Mistake {
	broken, is := errors.AsType[*protovalidate.ValidationError](protovalidate.Validate(p))
	if !is {
		return nil
	}
	var mistakes []Mistake
	for _, v := range broken.Violations {
		name, _, _ := strings.Cut(protovalidate.FieldPathString(v.Proto.GetField()), ".")
		mistakes = append(mistakes, Mistake{r.Line, name, v.Proto.GetMessage()})
	}
	return mistakes
}

func isCurrency(text string) bool {
	for i := range len(text) {
		if text[i] < 'A' || text[i] > 'Z' {
			return false
		}
	}
	return len(text) == 3
}

// Write gives parts as a file that Read takes.
func Write(w io.Writer, parts []*inventoryv1.Part) error {
	out := csv.NewWriter(w)
	var head []string
	for _, c := range columns() {
		head = append(head, c.name)
	}
	if err := out.Write(head); err != nil {
		return err
	}
	for _, p := range parts {
		var record []string
		for _, c := range columns() {
			record = append(record, c.get(p))
		}
		if err := out.Write(record); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}
