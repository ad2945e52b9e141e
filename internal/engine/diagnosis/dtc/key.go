package dtc

import (
	"fmt"
	"strings"
)

// Key is the canonical text by which a catalogue knows a code: P0304, or a maker's own code as
// 0x2A10, with the failure type kept apart.
type Key struct {
	Code string
	// Failure is set where the text carried a failure type byte, as in P0304-11.
	Failure    FailureType
	HasFailure bool
}

// String is the text that ParseKey reads back.
func (k Key) String() string {
	if k.HasFailure {
		return fmt.Sprintf("%s-%02X", k.Code, byte(k.Failure))
	}
	return k.Code
}

// ParseKey reads any form that a person or a tester writes: p0304, P0304-11, 0x2a10. A maker's own
// code is two to six hexadecimal digits after 0x; its leading zeros count. Its error is a
// *FormatError.
func ParseKey(text string) (Key, error) {
	t := strings.TrimSpace(text)
	if len(t) > 2 && (t[:2] == "0x" || t[:2] == "0X") {
		digits := strings.ToUpper(t[2:])
		if _, ok := parseHex(digits); !ok || len(digits) < 2 || len(digits) > 6 {
			return Key{}, &FormatError{text, "is not 0x and two to six hexadecimal digits, as in 0x2A10"}
		}
		return Key{Code: "0x" + digits}, nil
	}
	if len(t) == 8 {
		code, failure, err := ParseThreeByte(t)
		return Key{Code: code.String(), Failure: failure, HasFailure: true}, err
	}
	code, err := ParseCode(t)
	if err != nil {
		return Key{}, err
	}
	return Key{Code: code.String()}, nil
}

func parseHex(digits string) (value int, ok bool) {
	for _, c := range []byte(strings.ToUpper(digits)) {
		d := strings.IndexByte(hexDigits, c)
		if d < 0 {
			return 0, false
		}
		value = value<<4 | d
	}
	return value, true
}
