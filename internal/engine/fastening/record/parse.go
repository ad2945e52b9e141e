package record

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"unicode/utf8"
)

const (
	// MaxBytes bounds what is read as a record.
	MaxBytes = 64 << 20
	maxDepth = 20
)

// parse reads JSON strictly: members that come twice, numbers that no double
// holds, broken characters and anything after the value are refused, because
// two readers could take them for two different records.
func parse(data []byte) (any, error) {
	switch {
	case len(data) > MaxBytes:
		return nil, fmt.Errorf("it has %d bytes, and a record has at most %d", len(data), MaxBytes)
	case !utf8.Valid(data):
		return nil, errors.New("it is not UTF-8")
	case bytes.Contains(data, []byte{0xEF, 0xBF, 0xBD}):
		// The decoder puts this character in the place of half a surrogate pair.
		return nil, errors.New("it holds the character U+FFFD, which stands for a broken one")
	}
	d := json.NewDecoder(bytes.NewReader(data))
	d.UseNumber()
	v, err := value(d, 0)
	if err != nil {
		return nil, err
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return nil, errors.New("something stands after the record")
	}
	return v, nil
}

func value(d *json.Decoder, depth int) (any, error) {
	token, err := d.Token()
	if err != nil {
		return nil, fmt.Errorf("it is no JSON: %w", err)
	}
	switch t := token.(type) {
	case json.Delim:
		if depth == maxDepth {
			return nil, fmt.Errorf("it is nested deeper than %d levels", maxDepth)
		}
		if t == '{' {
			return object(d, depth)
		}
		return array(d, depth)
	case json.Number:
		f, err := t.Float64()
		if err != nil || math.IsInf(f, 0) {
			return nil, fmt.Errorf("the number %s is out of range", t)
		}
		return f, nil
	case string:
		return t, broken(t)
	default:
		return t, nil // true, false or null
	}
}

func object(d *json.Decoder, depth int) (any, error) {
	members := map[string]any{}
	for d.More() {
		token, err := d.Token()
		if err != nil {
			return nil, fmt.Errorf("it is no JSON: %w", err)
		}
		name, ok := token.(string)
		if !ok {
			return nil, errors.New("it is no JSON: a member has no name")
		}
		if err := broken(name); err != nil {
			return nil, err
		}
		if _, twice := members[name]; twice {
			return nil, fmt.Errorf("the member %q comes twice", name)
		}
		if members[name], err = value(d, depth+1); err != nil {
			return nil, err
		}
	}
	return members, closed(d)
}

func array(d *json.Decoder, depth int) (any, error) {
	items := []any{}
	for d.More() {
		item, err := value(d, depth+1)
		if err != nil {
			return nil, err
		}
		items = append(items, item)
	}
	return items, closed(d)
}

// closed takes the bracket at the end.
func closed(d *json.Decoder) error {
	if _, err := d.Token(); err != nil {
		return fmt.Errorf("it is no JSON: %w", err)
	}
	return nil
}

// broken finds the mark of an escape that is half a character.
func broken(s string) error {
	for _, r := range s {
		if r == utf8.RuneError {
			return errors.New("it holds an escape that is half a character")
		}
	}
	return nil
}
