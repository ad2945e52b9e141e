package catalogue

import (
	"errors"
	"fmt"
	"io"
	"regexp"
	"strings"

	"go.yaml.in/yaml/v3"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "ramprow/proto/ramprow/catalogue/v1"
)

// places knows where in the file each field stands, in both directions.
type places struct {
	at     map[string]spot // field path as in pieces[3].id
	fields map[spot]string
}

// spot is a line and a column, both from 1.
type spot struct{ line, column int }

// readPlaces reads the file as bare YAML. It gives nil places when it is no
// YAML at all, or is more than one document: the second would be lost unread.
func readPlaces(data []byte) (*places, []Problem) {
	decoder := yaml.NewDecoder(strings.NewReader(string(data)))
	var document yaml.Node
	if err := decoder.Decode(&document); err != nil {
		return nil, []Problem{syntaxProblem(err)}
	}
	var second yaml.Node
	if err := decoder.Decode(&second); !errors.Is(err, io.EOF) {
		return nil, []Problem{{
			Line: max(1, second.Line), Column: 1, Rule: ruleSyntax,
			Message: "a file holds one catalogue; this begins a second document",
		}}
	}
	if len(document.Content) != 1 || document.Content[0].Kind != yaml.MappingNode {
		return nil, []Problem{{Line: 1, Column: 1, Rule: ruleSyntax, Message: "a catalogue is a mapping of fields, as in id: marlow-orrin"}}
	}
	w := walker{places: &places{at: map[string]spot{}, fields: map[spot]string{}}}
	w.message(document.Content[0], (&pb.Catalogue{}).ProtoReflect().Descriptor(), "")
	return w.places, w.problems
}

var (
	syntaxLine = regexp.MustCompile(`line (\d+): `)
	// The YAML library counts lines from 0 in the errors of its parser and from
	// 1 in those of its scanner; these are the parser's.
	parserError = regexp.MustCompile(`^did not find expected (<|node content|'-' indicator|key|',' or)`)
)

func syntaxProblem(err error) Problem {
	p := Problem{Line: 1, Column: 1, Rule: ruleSyntax, Message: strings.TrimPrefix(firstLine(err.Error()), "yaml: ")}
	if at := syntaxLine.FindStringSubmatch(p.Message); at != nil {
		p.Line = number(at[1])
		p.Message = strings.TrimPrefix(p.Message, at[0])
		if parserError.MatchString(p.Message) {
			p.Line++
		}
	}
	return p
}

// problem makes a problem at a field. Where the field itself is missing in the
// file, the place is that of the nearest thing around it.
func (p *places) problem(field, rule string, severity Severity, message string) Problem {
	at, path := spot{1, 1}, field
	for path != "" {
		if found, ok := p.at[path]; ok {
			at = found
			break
		}
		path = path[:max(0, strings.LastIndexAny(path, ".["))]
	}
	return Problem{Line: at.line, Column: at.column, Field: field, Rule: rule, Severity: severity, Message: message}
}

// fieldAt gives the path of the field that begins at a place, or "".
func (p *places) fieldAt(line, column int) string { return p.fields[spot{line, column}] }

// walker goes down the YAML tree and the message's description side by side.
type walker struct {
	places   *places
	problems []Problem
}

func (w *walker) message(node *yaml.Node, desc protoreflect.MessageDescriptor, path string) {
	if node.Kind != yaml.MappingNode {
		return // decoding reports it
	}
	seen := map[string]int{}
	for i := 0; i+1 < len(node.Content); i += 2 {
		key, value := node.Content[i], node.Content[i+1]
		name := key.Value
		field := fieldByKey(desc, name)
		if field != nil {
			name = string(field.Name())
		}
		here := join(path, name)
		if first, ok := seen[name]; ok {
			w.problems = append(w.problems, Problem{
				Line: key.Line, Column: key.Column, Field: here, Rule: ruleRepeated,
				Message: fmt.Sprintf("%s stands here and in line %d; one of them would be lost", name, first),
			})
			continue
		}
		seen[name] = key.Line
		w.note(key, here)
		w.claim(value, here)
		if field != nil {
			w.field(value, field, here)
		}
	}
}

func (w *walker) field(value *yaml.Node, field protoreflect.FieldDescriptor, path string) {
	if field.IsList() && value.Kind == yaml.SequenceNode {
		for i, item := range value.Content {
			here := fmt.Sprintf("%s[%d]", path, i)
			w.note(item, here)
			if field.Message() != nil {
				w.message(item, field.Message(), here)
			}
		}
		return
	}
	if field.Message() != nil && !field.IsList() {
		w.message(value, field.Message(), path)
	}
}

// note remembers where a field is: at its key, or where the list item begins.
func (w *walker) note(node *yaml.Node, path string) {
	w.places.at[path] = spot{node.Line, node.Column}
	w.claim(node, path)
}

// claim remembers which field a place belongs to. A list item and its first
// field begin at the same spot; the first path to claim it keeps it.
func (w *walker) claim(node *yaml.Node, path string) {
	here := spot{node.Line, node.Column}
	if _, taken := w.places.fields[here]; !taken {
		w.places.fields[here] = path
	}
}

// fieldByKey accepts both spellings that decoding accepts: takes_off, takesOff.
func fieldByKey(desc protoreflect.MessageDescriptor, key string) protoreflect.FieldDescriptor {
	if field := desc.Fields().ByTextName(key); field != nil {
		return field
	}
	return desc.Fields().ByJSONName(key)
}

func join(path, name string) string {
	if path == "" {
		return name
	}
	return path + "." + name
}
