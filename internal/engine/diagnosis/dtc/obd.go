package dtc

import "fmt"

// ParseStored reads an answer of mode 03 (stored), 07 (pending) or 0A (permanent). On CAN a count
// comes first, elsewhere pairs of bytes padded with 00 00. Pairs beyond the count and a trailing odd
// byte are padding. Its error is a *FormatError.
func ParseStored(answer []byte, can bool) ([]Code, error) {
	input := fmt.Sprintf("% X", answer)
	if len(answer) == 0 || answer[0] != 0x43 && answer[0] != 0x47 && answer[0] != 0x4A {
		return nil, &FormatError{input, "is not an answer 43, 47 or 4A"}
	}
	body := answer[1:]
	limit := len(body) / 2
	if can {
		if len(body) == 0 {
			return nil, &FormatError{input, "lacks the number of codes"}
		}
		limit = int(body[0])
		body = body[1:]
		if len(body)/2 < limit {
			return nil, &FormatError{input, fmt.Sprintf("announces %d codes and holds %d", limit, len(body)/2)}
		}
	}
	var out []Code
	for i := range limit {
		if c := FromBytes(body[2*i], body[2*i+1]); c != 0 {
			out = append(out, c)
		}
	}
	return out, nil
}

// Readiness is the head of an answer to mode 01, parameter 01.
type Readiness struct {
	LampOn bool
	Codes  int
	// CompressionIgnition is false for spark ignition.
	CompressionIgnition bool
}

// ParseReadiness reads an answer to mode 01, parameter 01. Its error is a *FormatError.
func ParseReadiness(answer []byte) (Readiness, error) {
	if len(answer) != 6 || answer[0] != 0x41 || answer[1] != 0x01 {
		return Readiness{}, &FormatError{fmt.Sprintf("% X", answer), "is not an answer 41 01 with four bytes"}
	}
	return Readiness{
		LampOn:              answer[2]&0x80 != 0,
		Codes:               int(answer[2] & 0x7F),
		CompressionIgnition: answer[3]&0x08 != 0,
	}, nil
}
