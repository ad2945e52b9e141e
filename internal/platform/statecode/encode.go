package statecode

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"reflect"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"
)

// Encode gives the bytes of a value, or of what a pointer points to.
func Encode(v any) ([]byte, error) {
	value := reflect.ValueOf(v)
	if value.Kind() == reflect.Pointer && !value.IsNil() && !value.Type().Implements(messageType) {
		value = value.Elem()
	}
	return appendValue(nil, value)
}

func appendValue(b []byte, v reflect.Value) ([]byte, error) {
	switch {
	case !v.IsValid():
		return nil, fmt.Errorf("statecode: nothing to encode")
	case v.Type().Implements(messageType) && v.Kind() == reflect.Pointer:
		return appendMessage(b, v)
	case v.Type() == timeType:
		return appendTime(b, v.Interface().(time.Time)), nil //nolint:forcetypeassert // its type was compared
	}
	switch v.Kind() { //nolint:exhaustive // the others are refused
	case reflect.Bool:
		if v.Bool() {
			return append(b, 1), nil
		}
		return append(b, 0), nil
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		return binary.AppendVarint(b, v.Int()), nil
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		return binary.AppendUvarint(b, v.Uint()), nil
	case reflect.Float32, reflect.Float64:
		return binary.LittleEndian.AppendUint64(b, math.Float64bits(v.Float())), nil
	case reflect.String:
		return append(binary.AppendUvarint(b, uint64(v.Len())), v.String()...), nil //nolint:gosec // never negative
	case reflect.Slice:
		return appendSlice(b, v)
	case reflect.Map:
		return appendMap(b, v)
	case reflect.Pointer:
		return appendPointer(b, v)
	case reflect.Struct:
		return appendStruct(b, v)
	}
	return nil, fmt.Errorf("statecode: a %s cannot be encoded", v.Type())
}

func appendMessage(b []byte, v reflect.Value) ([]byte, error) {
	if v.IsNil() {
		return append(b, 0), nil
	}
	encoded, err := proto.MarshalOptions{Deterministic: true}.Marshal(v.Interface().(proto.Message)) //nolint:forcetypeassert // asked before
	if err != nil {
		return nil, fmt.Errorf("statecode: encode a %s: %w", v.Type(), err)
	}
	return append(binary.AppendUvarint(b, uint64(len(encoded))+1), encoded...), nil
}

func appendTime(b []byte, t time.Time) []byte {
	return binary.AppendUvarint(binary.AppendVarint(b, t.Unix()), uint64(t.Nanosecond())) //nolint:gosec // never negative
}

func appendSlice(b []byte, v reflect.Value) (_ []byte, err error) {
	if v.IsNil() {
		return append(b, 0), nil
	}
	b = binary.AppendUvarint(b, uint64(v.Len())+1) //nolint:gosec // never negative
	if v.Type().Elem().Kind() == reflect.Uint8 {
		return append(b, v.Bytes()...), nil
	}
	for i := range v.Len() {
		if b, err = appendValue(b, v.Index(i)); err != nil {
			return nil, err
		}
	}
	return b, nil
}

func appendMap(b []byte, v reflect.Value) ([]byte, error) {
	if v.IsNil() {
		return append(b, 0), nil
	}
	type pair struct {
		key   []byte
		value reflect.Value
	}
	pairs := make([]pair, 0, v.Len())
	for entries := v.MapRange(); entries.Next(); {
		key, err := appendValue(nil, entries.Key())
		if err != nil {
			return nil, err
		}
		pairs = append(pairs, pair{key: key, value: entries.Value()})
	}
	slices.SortFunc(pairs, func(p, q pair) int { return bytes.Compare(p.key, q.key) })
	b = binary.AppendUvarint(b, uint64(len(pairs))+1)
	for _, p := range pairs {
		var err error
		if b, err = appendValue(append(b, p.key...), p.value); err != nil {
			return nil, err
		}
	}
	return b, nil
}

func appendPointer(b []byte, v reflect.Value) ([]byte, error) {
	if v.IsNil() {
		return append(b, 0), nil
	}
	return appendValue(append(b, 1), v.Elem())
}

func appendStruct(b []byte, v reflect.Value) (_ []byte, err error) {
	for i := range v.NumField() {
		if field := v.Type().Field(i); !field.IsExported() {
			return nil, fmt.Errorf("statecode: %s hides its field %s", v.Type(), field.Name)
		}
		if b, err = appendValue(b, v.Field(i)); err != nil {
			return nil, err
		}
	}
	return b, nil
}
