// Package statecode writes plain Go state as bytes and reads it again, exactly:
// what was nil comes back as nil, and equal values have equal bytes.
//
// A value may be made of booleans, integers, floats, strings, slices, maps with
// keys of these simple kinds, pointers to structs, structs with exported fields
// only, time.Time, and protobuf messages. Anything else is refused, so that no
// part of a state is lost in silence. The bytes do not describe themselves:
// Schema tells whether they were written for the type that is to be read.
//
//	bool, integers   varint, signed ones zigzag
//	floats           8 bytes, IEEE 754, little endian
//	string           length, bytes
//	slice, map       length + 1 (0: nil), elements; maps in the order of their encoded keys
//	pointer          1 and the value, or 0
//	struct           its fields in order
//	time.Time        seconds (zigzag) and nanoseconds; read in UTC
//	message          length + 1 (0: nil), deterministic protobuf
package statecode
