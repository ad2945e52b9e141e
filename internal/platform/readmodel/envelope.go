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

// packRow gives a row as it is stored, and the index members in it.
func packRow(key Key, row Row) (packed []byte, index []member, err error) {
	value, err := proto.MarshalOptions{Deterministic: true}.Marshal(row.Value)
	if err != nil {
		return nil, nil, fmt.Errorf("row %s of model %s cannot be encoded: %w", key.ID, key.Model, err)
	}
	size := protowire.SizeTag(fieldValue) + protowire.SizeBytes(len(value))
	for _, e := range row.Index {
		m := member{name: e.Name, value: indexMember(e.Order, key.ID)}
		index = append(index, m)
		size += protowire.SizeTag(fieldIndex) + protowire.SizeBytes(m.size())
	}
	packed = make([]byte, 0, size)
	for _, m := range index {
		packed = protowire.AppendTag(packed, fieldIndex, protowire.BytesType)
		packed = protowire.AppendVarint(packed, uint64(m.size())) //nolint:gosec // a length
		packed = protowire.AppendTag(packed, fieldName, protowire.BytesType)
		packed = protowire.AppendString(packed, m.name)
		packed = protowire.AppendTag(packed, fieldMember, protowire.BytesType)
		packed = protowire.AppendString(packed, m.value)
	}
	packed = protowire.AppendTag(packed, fieldValue, protowire.BytesType)
	return protowire.AppendBytes(packed, value), index, nil
}

// size is how many bytes an entry takes.
func (m member) size() int {
	return protowire.SizeTag(fieldName) + protowire.SizeBytes(len(m.name)) +
		protowire.SizeTag(fieldMember) + protowire.SizeBytes(len(m.value))
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
