package catalogue

import (
	"errors"
	"fmt"
	"os"
	"regexp"
	"strconv"
	"strings"

	"buf.build/go/protovalidate"
	"buf.build/go/protoyaml"

	pb "ramprow/proto/ramprow/catalogue/v1"
)

// MaxBytes bounds a catalogue file. A rich one has about 100 kB.
const MaxBytes = 8 << 20

// The rules of form. They come before the rules about content, see rules().
const (
	ruleReadable  = "FILE_UNREADABLE" // not there, too large, or characters that YAML readers disagree on
	ruleSyntax    = "YAML_SYNTAX"     // not YAML
	ruleType      = "YAML_TYPE"       // YAML, but not a catalogue: unknown field, wrong type
	ruleRepeated  = "YAML_REPEATED"   // the same field twice in one place
	ruleFieldRule = "FIELD_RULE"      // a value that the field's own rule forbids
)

// LoadFile reads and checks a file. See Load.
func LoadFile(path string) (*Catalogue, error) {
	data, err := os.ReadFile(path) //nolint:gosec // the path is the caller's own choice on the command line
	if err != nil {
		return nil, fmt.Errorf("read catalogue: %w", err)
	}
	return Load(path, data)
}

// Load reads and checks a catalogue. The name stands in the reports. The error
// is a *Problems with every mistake found, errors and warnings; with warnings
// only, the catalogue is returned and keeps them, see Warnings.
func Load(name string, data []byte) (*Catalogue, error) {
	if why := unreadable(data); why != "" {
		return nil, &Problems{List: []Problem{{File: name, Line: 1, Column: 1, Rule: ruleReadable, Message: why}}}
	}
	places, problems := readPlaces(data)
	if places == nil {
		return nil, &Problems{List: inFile(name, problems)}
	}
	message := &pb.Catalogue{}
	problems = append(problems, decode(data, message, places)...)
	problems = append(problems, validate(message, places, problems)...)

	c := newCatalogue(message, data)
	problems = append(problems, checkContent(c, places)...)
	problems = tidy(inFile(name, problems))
	if all := (&Problems{List: problems}); all.Errors() > 0 {
		return nil, all
	}
	c.warnings = problems
	return c, nil
}

// unreadable says why the bytes cannot be taken, or "". Line breaks other than
// LF and CRLF are refused because YAML counts them as lines and editors do not:
// every reported line after one would be wrong.
func unreadable(data []byte) string {
	text := string(data)
	switch {
	case len(data) > MaxBytes:
		return fmt.Sprintf("the file has %d bytes; at most %d are read", len(data), MaxBytes)
	case strings.ContainsAny(strings.ReplaceAll(text, "\r\n", "\n"), "\r\u0085\u2028\u2029"):
		return "the file holds line breaks other than LF or CRLF; save it with Unix or Windows line ends"
	case strings.TrimSpace(text) == "":
		return "the file is empty"
	}
	return ""
}

// decode fills the message and reports whatever in the file is no catalogue.
func decode(data []byte, message *pb.Catalogue, places *places) []Problem {
	err := protoyaml.UnmarshalOptions{}.Unmarshal(data, message)
	if err == nil {
		return nil
	}
	all := []error{err}
	if joined, ok := errors.AsType[interface {
		error
		Unwrap() []error
	}](err); ok {
		all = joined.Unwrap()
	}
	problems := make([]Problem, len(all))
	for i, one := range all {
		problems[i] = decodeProblem(one, places)
	}
	return problems
}

// decodePlace is how protoyaml writes the place of an error; its error type is
// not exported, so the text is the only way to the line and the column.
var decodePlace = regexp.MustCompile(`^:(\d+):(\d+) `)

func decodeProblem(err error, places *places) Problem {
	text := err.Error()
	p := Problem{Line: 1, Column: 1, Rule: ruleType, Message: firstLine(text)}
	at := decodePlace.FindStringSubmatch(text)
	if at == nil {
		return p
	}
	p.Line, p.Column = number(at[1]), number(at[2])
	p.Field = places.fieldAt(p.Line, p.Column)
	p.Message = firstLine(strings.TrimPrefix(text, at[0]))
	return p
}

// validate reports the values that the rules written in the proto forbid. A
// field that could not be decoded is left out: it is reported already.
func validate(message *pb.Catalogue, places *places, before []Problem) []Problem {
	err := protovalidate.Validate(message)
	if err == nil {
		return nil
	}
	invalid, ok := errors.AsType[*protovalidate.ValidationError](err)
	if !ok {
		return []Problem{{Line: 1, Column: 1, Rule: ruleFieldRule, Message: err.Error()}}
	}
	reported := map[string]bool{}
	for _, p := range before {
		reported[p.Field] = true
	}
	var problems []Problem
	for _, v := range invalid.Violations {
		field := protovalidate.FieldPathString(v.Proto.GetField())
		if reported[field] {
			continue
		}
		text := v.Proto.GetMessage()
		if text == "" {
			text = "breaks the rule " + v.Proto.GetRuleId()
		}
		problems = append(problems, places.problem(field, ruleFieldRule, Error, text))
	}
	return problems
}

// inFile writes the file's name into every problem.
func inFile(name string, problems []Problem) []Problem {
	for i := range problems {
		problems[i].File = name
	}
	return problems
}

func firstLine(text string) string {
	line, _, _ := strings.Cut(text, "\n")
	return line
}

// number reads digits that a pattern has already matched; too many give the
// largest int, which is a place that no file has.
func number(digits string) int {
	n, err := strconv.Atoi(digits)
	if err != nil {
		return int(^uint(0) >> 1)
	}
	return n
}
