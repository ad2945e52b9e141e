package dtc

import "fmt"

// FailureType is the failure type byte: the high nibble is the class, the low one the kind.
type FailureType byte

// Class is the meaning of the high nibble; empty where none is known.
func (f FailureType) Class() string {
	names := map[byte]string{
		0x0: "general", 0x1: "circuit", 0x2: "signal", 0x3: "signal", 0x4: "internal", 0x5: "programming",
		0x6: "algorithm", 0x7: "mechanical", 0x8: "bus", 0x9: "component",
	}
	return names[byte(f)>>4]
}

// Record is a code as ISO 14229 reports it: two bytes, failure type, status.
type Record struct {
	Code    Code
	Failure FailureType
	Status  Status
}

// RecordSize is the bytes of a record on the wire.
const RecordSize = 4

// String is the three-byte form as people write it, as in P0A9B-17.
func (r Record) String() string { return fmt.Sprintf("%v-%02X", r.Code, byte(r.Failure)) }

// Bytes is the record on the wire.
func (r Record) Bytes() [RecordSize]byte {
	b := r.Code.Bytes()
	return [RecordSize]byte{b[0], b[1], byte(r.Failure), byte(r.Status)}
}

// ParseThreeByte reads the three-byte form's text, as in P0A9B-17.
func ParseThreeByte(text string) (Code, FailureType, error) {
	if len(text) != 8 || text[5] != '-' {
		return 0, 0, &FormatError{text, "is not a code with a failure type, as in P0304-11"}
	}
	code, err := ParseCode(text[:5])
	if err != nil {
		return 0, 0, err
	}
	failure, ok := parseHex(text[6:])
	if !ok {
		return 0, 0, &FormatError{text, "must end with two hexadecimal digits"}
	}
	return code, FailureType(failure), nil //nolint:gosec // two digits
}

// Report is the answer to a request for codes by status mask.
type Report struct {
	// Availability is the mask of status bits that the control unit supports.
	Availability Status
	Records      []Record
}

// ParseReport reads an answer of service 0x19, sub-functions 0x02 and 0x0A: 59, the sub-function,
// the availability mask, and records. Its error is a *FormatError.
func ParseReport(answer []byte) (Report, error) {
	input := fmt.Sprintf("% X", answer)
	if len(answer) < 3 || answer[0] != 0x59 || answer[1] != 0x02 && answer[1] != 0x0A {
		return Report{}, &FormatError{input, "is not an answer 59 02 or 59 0A with an availability mask"}
	}
	body := answer[3:]
	if len(body)%RecordSize != 0 {
		return Report{}, &FormatError{input, "does not hold whole records of four bytes"}
	}
	r := Report{Availability: Status(answer[2])}
	for ; len(body) > 0; body = body[RecordSize:] {
		r.Records = append(r.Records, Record{FromBytes(body[0], body[1]), FailureType(body[2]), Status(body[3])})
	}
	return r, nil
}

// Select keeps the records that a mask asks for.
func (r Report) Select(mask Status) []Record {
	var out []Record
	for _, x := range r.Records {
		if x.Status.Matches(mask, r.Availability) {
			out = append(out, x)
		}
	}
	return out
}
