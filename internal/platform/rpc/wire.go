package rpc

import (
	"fmt"
	"unicode/utf8"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/reflect/protoreflect"
)

type (
	messageDescriptor = protoreflect.MessageDescriptor
	fieldDescriptor   = protoreflect.FieldDescriptor
)

// flaw is the first thing wrong with encoded bytes.
type flaw struct {
	path        string // as in codes[2].code; empty for the message itself
	description string
}

// unspecific is the flaw of bytes that a decoder refuses for a reason that the
// walk does not know.
func unspecific() flaw { return flaw{description: "cannot be decoded"} }

// findFlaw walks the wire format beside the schema. It is called only for bytes
// that were refused already, so it need not be fast, but it must end: depth is
// bounded as the decoder's is.
func findFlaw(data []byte, descriptor messageDescriptor) flaw {
	w := walker{}
	if w.message(data, descriptor, "", protowire.DefaultRecursionLimit) {
		return unspecific()
	}
	return w.found
}

// walker holds the flaw once it is found. Its methods return false from then on.
type walker struct{ found flaw }

func (w *walker) fail(path, description string) bool {
	w.found = flaw{path: path, description: description}
	return false
}

func (w *walker) message(data []byte, descriptor messageDescriptor, path string, depth int) bool {
	if depth <= 0 {
		return w.fail(path, "is nested too deeply")
	}
	counts := map[protowire.Number]int{}
	for len(data) > 0 {
		number, wireType, n := protowire.ConsumeTag(data)
		if n < 0 {
			return w.fail(path, "has bytes that start no field")
		}
		data = data[n:]
		field := descriptor.Fields().ByNumber(number)
		here := fieldPath(path, field, counts[number])
		counts[number]++
		size := protowire.ConsumeFieldValue(number, wireType, data)
		if size < 0 {
			return w.fail(here, "is cut short or not encoded as its type")
		}
		if field != nil && !w.value(data[:size], wireType, field, here, depth) {
			return false
		}
		data = data[size:]
	}
	return true
}

// value checks what the decoder would check of one field's value. A value whose
// wire type is not the field's is an unknown field to the decoder, and fine.
func (w *walker) value(data []byte, wireType protowire.Type, field fieldDescriptor, path string, depth int) bool {
	switch {
	case field.Kind() == protoreflect.GroupKind && wireType == protowire.StartGroupType:
		content, n := protowire.ConsumeGroup(field.Number(), data)
		return n < 0 || w.message(content, field.Message(), path, depth-1)
	case wireType != protowire.BytesType:
		return true
	}
	content, n := protowire.ConsumeBytes(data)
	if n < 0 {
		return w.fail(path, "is cut short")
	}
	switch {
	case field.Kind() == protoreflect.MessageKind:
		return w.message(content, field.Message(), path, depth-1)
	case field.Kind() == protoreflect.StringKind:
		return utf8.Valid(content) || w.fail(path, "must be text in UTF-8")
	case field.IsList():
		return w.packed(content, field.Kind(), path)
	default:
		return true
	}
}

// packed checks a list of numbers that share one value.
func (w *walker) packed(data []byte, kind protoreflect.Kind, path string) bool {
	wireType, ok := packable(kind)
	for ok && len(data) > 0 {
		n := protowire.ConsumeFieldValue(1, wireType, data)
		if n < 0 {
			return w.fail(path, "holds a number that is cut short")
		}
		data = data[n:]
	}
	return true
}

func packable(kind protoreflect.Kind) (protowire.Type, bool) {
	switch kind {
	case protoreflect.Fixed32Kind, protoreflect.Sfixed32Kind, protoreflect.FloatKind:
		return protowire.Fixed32Type, true
	case protoreflect.Fixed64Kind, protoreflect.Sfixed64Kind, protoreflect.DoubleKind:
		return protowire.Fixed64Type, true
	case protoreflect.StringKind, protoreflect.BytesKind, protoreflect.MessageKind, protoreflect.GroupKind:
		return 0, false
	default:
		return protowire.VarintType, true
	}
}

// fieldPath writes a path as validation does: dots between messages, an index
// behind a list's name. A map's key is not known yet when its entry is walked,
// so an entry goes by its place.
func fieldPath(parent string, field fieldDescriptor, index int) string {
	if field == nil {
		return parent
	}
	path := string(field.Name())
	if parent != "" {
		path = parent + "." + path
	}
	if _, packed := packable(field.Kind()); field.IsMap() || field.IsList() && !packed {
		path = fmt.Sprintf("%s[%d]", path, index)
	}
	return path
}
