package frozen_test

import (
	"fmt"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"
)

// nesting is how often a message type may lie within itself.
const nesting = 2

// filled sets every field of a message, and of the messages in it, to something
// that differs from field to field. Of each choice it takes the variant's member.
func filled(m protoreflect.Message, variant int, within map[protoreflect.FullName]int) protoreflect.Message {
	name := m.Descriptor().FullName()
	within[name]++
	defer func() { within[name]-- }()
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		if choice := f.ContainingOneof(); choice != nil && !choice.IsSynthetic() {
			if choice.Fields().Get(variant%choice.Fields().Len()) != f {
				continue
			}
		}
		fill(m, f, variant, within)
	}
	return m
}

func fill(m protoreflect.Message, f protoreflect.FieldDescriptor, variant int, within map[protoreflect.FullName]int) {
	switch {
	case f.IsMap():
		if deep(f.MapValue(), within) {
			return
		}
		entries := m.Mutable(f).Map()
		value := entries.NewValue()
		if f.MapValue().Message() != nil {
			value = protoreflect.ValueOfMessage(part(value.Message(), f, variant, within))
		} else {
			value = scalar(f.MapValue())
		}
		entries.Set(scalar(f.MapKey()).MapKey(), value)
	case f.IsList():
		if deep(f, within) {
			return
		}
		list := m.Mutable(f).List()
		if f.Message() == nil {
			list.Append(scalar(f))
			return
		}
		list.Append(protoreflect.ValueOfMessage(part(list.NewElement().Message(), f, variant, within)))
	case f.Message() != nil:
		if deep(f, within) {
			return
		}
		m.Set(f, protoreflect.ValueOfMessage(part(m.NewField(f).Message(), f, variant, within)))
	default:
		m.Set(f, scalar(f))
	}
}

func deep(f protoreflect.FieldDescriptor, within map[protoreflect.FullName]int) bool {
	return f.Message() != nil && within[f.Message().FullName()] >= nesting
}

// part is a message within another; times are given as times are written.
func part(m protoreflect.Message, f protoreflect.FieldDescriptor, variant int, within map[protoreflect.FullName]int) protoreflect.Message {
	switch m.Interface().(type) {
	case *timestamppb.Timestamp:
		return (&timestamppb.Timestamp{Seconds: 1_772_000_000 + int64(f.Number()), Nanos: 123_456_789}).ProtoReflect()
	case *durationpb.Duration:
		return (&durationpb.Duration{Seconds: 60 * int64(f.Number()), Nanos: 5_000_000}).ProtoReflect()
	}
	return filled(m, variant, within)
}

func scalar(f protoreflect.FieldDescriptor) protoreflect.Value {
	n := int64(f.Number())
	switch f.Kind() {
	case protoreflect.BoolKind:
		return protoreflect.ValueOfBool(true)
	case protoreflect.EnumKind:
		values := f.Enum().Values()
		return protoreflect.ValueOfEnum(values.Get(1 + int(n)%(values.Len()-1)).Number())
	case protoreflect.Int32Kind, protoreflect.Sint32Kind, protoreflect.Sfixed32Kind:
		return protoreflect.ValueOfInt32(int32(-100 - n))
	case protoreflect.Uint32Kind, protoreflect.Fixed32Kind:
		return protoreflect.ValueOfUint32(uint32(1000 + n))
	case protoreflect.Int64Kind, protoreflect.Sint64Kind, protoreflect.Sfixed64Kind:
		return protoreflect.ValueOfInt64(1<<40 + n)
	case protoreflect.Uint64Kind, protoreflect.Fixed64Kind:
		return protoreflect.ValueOfUint64(1<<63 + uint64(n))
	case protoreflect.FloatKind:
		return protoreflect.ValueOfFloat32(float32(n) + 0.5)
	case protoreflect.DoubleKind:
		return protoreflect.ValueOfFloat64(float64(n) + 0.25)
	case protoreflect.BytesKind:
		return protoreflect.ValueOfBytes([]byte{byte(n), 0xff})
	case protoreflect.StringKind:
		return protoreflect.ValueOfString(fmt.Sprintf("%s é %d", f.Name(), n))
	case protoreflect.MessageKind, protoreflect.GroupKind:
	}
	panic("no scalar: " + string(f.FullName()))
}

// reach calls fn for every message type that can lie within a message type.
func reach(d protoreflect.MessageDescriptor, seen map[protoreflect.FullName]bool, fn func(protoreflect.FieldDescriptor)) {
	if seen[d.FullName()] {
		return
	}
	seen[d.FullName()] = true
	for i := range d.Fields().Len() {
		f := d.Fields().Get(i)
		fn(f)
		if f.IsMap() {
			f = f.MapValue()
		}
		if f.Message() != nil && f.Message().ParentFile().Package() != "google.protobuf" {
			reach(f.Message(), seen, fn)
		}
	}
}

// walk calls fn for a message and every message that lies within it.
func walk(m protoreflect.Message, fn func(protoreflect.Message)) {
	fn(m)
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case f.IsMap():
			if f.MapValue().Message() != nil {
				v.Map().Range(func(_ protoreflect.MapKey, v protoreflect.Value) bool { walk(v.Message(), fn); return true })
			}
		case f.Message() == nil:
		case f.IsList():
			for i := range v.List().Len() {
				walk(v.List().Get(i).Message(), fn)
			}
		default:
			walk(v.Message(), fn)
		}
		return true
	})
}

// unknown tells whether anything within a message is foreign to this program.
func unknown(m proto.Message) bool {
	found := false
	walk(m.ProtoReflect(), func(m protoreflect.Message) { found = found || len(m.GetUnknown()) > 0 })
	return found
}
