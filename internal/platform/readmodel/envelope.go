package readmodel

import (
	"fmt"

	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
)

// A row is stored with the index members that list it, so that whoever
// replaces it knows what to take out of the indexes without a memory of its
// own. On the wire it is a protobuf message of three fields:
//
//	message Envelope { repeated Entry index = 1; bytes value = 2; }
//	message Entry    { string name = 1; bytes member = 2; }
const (
	fieldIndex  protowire.Number = 1
	fieldValue  protowire.Number = 2
	fieldName   protowire.Number = 1
	fieldMember protowire.Number = 2
)

// member is one entry of an index as Redis holds it.
type member struct{ name, value string }

func packRow(key Key, row Row) ([]byte, error) {
	value, err := proto.MarshalOptions{Deterministic: true}.Marshal(row.Value)
	if err != nil {
		return nil, fmt.Errorf("row %s of model %s cannot be encoded: %w", key.ID, key.Model, err)
	}
	packed := make([]byte, 0, len(value)+64)
	for _, e := range row.Index {
		var entry []byte
		entry = protowire.AppendTag(entry, fieldName, protowire.BytesType)
		entry = protowire.AppendString(entry, e.Name)
		entry = protowire.AppendTag(entry, fieldMember, protowire.BytesType)
		entry = protowire.AppendString(entry, indexMember(e.Order, key.ID))
		packed = protowire.AppendTag(packed, fieldIndex, protowire.BytesType)
		packed = protowire.AppendBytes(packed, entry)
	}
	packed = protowire.AppendTag(packed, fieldValue, protowire.BytesType)
	return protowire.AppendBytes(packed, value), nil
}

// unpackRow gives the index members and the encoded value of a stored row.
func unpackRow(packed string) (index []member, value []byte, err error) {
	err = eachField([]byte(packed), func(n protowire.Number, content []byte) error {
		switch n {
		case fieldIndex:
			m, err := unpackMember(content)
			index = append(index, m)
			return err
		case fieldValue:
			value = content
		default: // written by a later program
		}
		return nil
	})
	return index, value, err
}

func unpackMember(packed []byte) (m member, err error) {
	err = eachField(packed, func(n protowire.Number, content []byte) error {
		switch n {
		case fieldName:
			m.name = string(content)
		case fieldMember:
			m.value = string(content)
		default: // written by a later program
		}
		return nil
	})
	return m, err
}

// eachField gives the length-delimited fields of a message; others are skipped.
func eachField(b []byte, fn func(protowire.Number, []byte) error) error {
	for len(b) > 0 {
		number, kind, n := protowire.ConsumeTag(b)
		if n < 0 {
			return fmt.Errorf("stored row is damaged: %w", protowire.ParseError(n))
		}
		b = b[n:]
		size := protowire.ConsumeFieldValue(number, kind, b)
		if size < 0 {
			return fmt.Errorf("stored row is damaged: %w", protowire.ParseError(size))
		}
		if kind == protowire.BytesType {
			content, _ := protowire.ConsumeBytes(b)
			if err := fn(number, content); err != nil {
				return err
			}
		}
		b = b[size:]
	}
	return nil
}
