package statecode

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"reflect"
	"time"

	"google.golang.org/protobuf/proto"
)

var errShort = errors.New("statecode: the bytes do not fit the type")

// Decode reads what Encode wrote into a pointer to a value of the same type.
// Byte slices in it share memory with data. After an error the value is of no use.
func Decode(data []byte, into any) error {
	value := reflect.ValueOf(into)
	if value.Kind() != reflect.Pointer || value.IsNil() {
		return fmt.Errorf("statecode: cannot decode into a %T", into)
	}
	d := decoder{rest: data}
	if err := d.value(value.Elem()); err != nil {
		return err
	}
	if len(d.rest) > 0 {
		return fmt.Errorf("%w: %d bytes are left over", errShort, len(d.rest))
	}
	return nil
}

// decoder takes values from the front of its bytes.
type decoder struct{ rest []byte }

func (d *decoder) value(v reflect.Value) error {
	switch {
	case v.Type().Implements(messageType) && v.Kind() == reflect.Pointer:
		return d.message(v)
	case v.Type() == timeType:
		return d.time(v)
	}
	switch v.Kind() { //nolint:exhaustive // the others are refused
	case reflect.Bool:
		n, err := d.unsigned()
		v.SetBool(n != 0)
		return err
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		return d.integer(v)
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		n, err := d.unsigned()
		if err == nil && v.OverflowUint(n) {
			return errShort
		}
		v.SetUint(n)
		return err
	case reflect.Float32, reflect.Float64:
		raw, err := d.take(8)
		if err == nil {
			v.SetFloat(math.Float64frombits(binary.LittleEndian.Uint64(raw)))
		}
		return err
	case reflect.String:
		return d.text(v)
	case reflect.Slice:
		return d.slice(v)
	case reflect.Map:
		return d.mapping(v)
	case reflect.Pointer:
		return d.pointer(v)
	case reflect.Struct:
		return d.structure(v)
	}
	return fmt.Errorf("statecode: a %s cannot be decoded", v.Type())
}

func (d *decoder) take(n uint64) ([]byte, error) {
	if n > uint64(len(d.rest)) {
		return nil, errShort
	}
	taken := d.rest[:n:n]
	d.rest = d.rest[n:]
	return taken, nil
}

func (d *decoder) unsigned() (uint64, error) {
	n, size := binary.Uvarint(d.rest)
	if size <= 0 {
		return 0, errShort
	}
	d.rest = d.rest[size:]
	return n, nil
}

func (d *decoder) signed() (int64, error) {
	n, size := binary.Varint(d.rest)
	if size <= 0 {
		return 0, errShort
	}
	d.rest = d.rest[size:]
	return n, nil
}

func (d *decoder) integer(v reflect.Value) error {
	n, err := d.signed()
	if err == nil && v.OverflowInt(n) {
		return errShort
	}
	v.SetInt(n)
	return err
}

func (d *decoder) text(v reflect.Value) error {
	n, err := d.unsigned()
	if err != nil {
		return err
	}
	raw, err := d.take(n)
	v.SetString(string(raw))
	return err
}

// length reads the length of a slice, map or message. Each element takes at
// least least bytes, so damaged bytes cannot ask for more memory than they have.
func (d *decoder) length(least uint64) (n int, isNil bool, err error) {
	stored, err := d.unsigned()
	if err != nil || stored == 0 {
		return 0, true, err
	}
	if least*(stored-1) > uint64(len(d.rest)) || stored-1 > math.MaxInt32 {
		return 0, false, errShort
	}
	return int(stored - 1), false, nil
}

func (d *decoder) message(v reflect.Value) error {
	n, isNil, err := d.length(1)
	if err != nil || isNil {
		return err
	}
	raw, err := d.take(uint64(n)) //nolint:gosec // never negative
	if err != nil {
		return err
	}
	v.Set(reflect.New(v.Type().Elem()))
	return proto.Unmarshal(raw, v.Interface().(proto.Message)) //nolint:forcetypeassert // asked before
}

func (d *decoder) time(v reflect.Value) error {
	seconds, err := d.signed()
	if err != nil {
		return err
	}
	nanos, err := d.unsigned()
	if err == nil && nanos >= uint64(time.Second) {
		return errShort
	}
	v.Set(reflect.ValueOf(time.Unix(seconds, int64(nanos)).UTC())) //nolint:gosec // below a second
	return err
}

func (d *decoder) slice(v reflect.Value) error {
	n, isNil, err := d.length(leastOf(v.Type().Elem()))
	if err != nil || isNil {
		return err
	}
	if v.Type().Elem().Kind() == reflect.Uint8 {
		raw, err := d.take(uint64(n)) //nolint:gosec // never negative
		v.SetBytes(raw)
		return err
	}
	v.Set(reflect.MakeSlice(v.Type(), n, n))
	for i := range n {
		if err := d.value(v.Index(i)); err != nil {
			return err
		}
	}
	return nil
}

func (d *decoder) mapping(v reflect.Value) error {
	n, isNil, err := d.length(leastOf(v.Type().Key()))
	if err != nil || isNil {
		return err
	}
	v.Set(reflect.MakeMapWithSize(v.Type(), n))
	for range n {
		key := reflect.New(v.Type().Key()).Elem()
		if err := d.value(key); err != nil {
			return err
		}
		value := reflect.New(v.Type().Elem()).Elem()
		if err := d.value(value); err != nil {
			return err
		}
		v.SetMapIndex(key, value)
	}
	return nil
}

// leastOf is how many bytes a value takes at least: a struct without fields is
// the only one that takes none.
func leastOf(t reflect.Type) uint64 {
	if t.Kind() == reflect.Struct && t.NumField() == 0 {
		return 0
	}
	return 1
}

func (d *decoder) pointer(v reflect.Value) error {
	set, err := d.unsigned()
	if err != nil || set == 0 {
		return err
	}
	v.Set(reflect.New(v.Type().Elem()))
	return d.value(v.Elem())
}

func (d *decoder) structure(v reflect.Value) error {
	for i := range v.NumField() {
		if field := v.Type().Field(i); !field.IsExported() {
			return fmt.Errorf("statecode: %s hides its field %s", v.Type(), field.Name)
		}
		if err := d.value(v.Field(i)); err != nil {
			return err
		}
	}
	return nil
}
