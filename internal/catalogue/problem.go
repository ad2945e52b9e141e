package catalogue

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"
)

// Severity says whether a problem keeps the catalogue out.
type Severity int

// The severities. The zero value is an error, so a forgotten one never lets a
// mistake pass.
const (
	Error   Severity = iota // the catalogue is refused
	Warning                 // the catalogue is loaded; somebody should look
)

// String gives the word used in print.
func (s Severity) String() string {
	if s == Warning {
		return "warning"
	}
	return "error"
}

// Problem is one mistake in a catalogue file.
type Problem struct {
	File     string
	Line     int    // from 1; 0 when the place is not known
	Column   int    // from 1
	Field    string // as in operations[3].takes_off[0]; empty for the whole file
	Rule     string // stable, UPPER_SNAKE
	Severity Severity
	Message  string // what is wrong and what would be right
}

// String gives file:line:col: field: message (RULE), as editors can follow it.
func (p Problem) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s:%d:%d: ", p.File, p.Line, p.Column)
	if p.Severity == Warning {
		b.WriteString("warning: ")
	}
	if p.Field != "" {
		b.WriteString(p.Field + ": ")
	}
	fmt.Fprintf(&b, "%s (%s)", p.Message, p.Rule)
	return b.String()
}

// Problems is the error that lists everything wrong with a file.
type Problems struct { //nolint:errname // Problems is what it is: a list of them
	List []Problem // in the order of the file
}

// Error implements error. It gives every problem on its own line.
func (p *Problems) Error() string {
	lines := make([]string, len(p.List))
	for i, problem := range p.List {
		lines[i] = problem.String()
	}
	return strings.Join(lines, "\n")
}

// Errors counts the problems that keep the catalogue out.
func (p *Problems) Errors() int {
	n := 0
	for _, problem := range p.List {
		if problem.Severity == Error {
			n++
		}
	}
	return n
}

// Print writes one line per problem, as file:line:col: field: message (RULE).
func Print(w io.Writer, problems []Problem) error {
	for _, p := range problems {
		if _, err := fmt.Fprintln(w, p); err != nil {
			return fmt.Errorf("print problems: %w", err)
		}
	}
	return nil
}

// inFileOrder sorts by place, then by rule, so that a report never jumps about.
func inFileOrder(a, b Problem) int {
	return cmp.Or(
		cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column),
		cmp.Compare(a.Rule, b.Rule), cmp.Compare(a.Message, b.Message))
}

// tidy sorts problems and drops repeats of the same finding.
func tidy(problems []Problem) []Problem {
	slices.SortFunc(problems, inFileOrder)
	return slices.Compact(problems)
}
