// Package dtc reads and writes diagnostic trouble codes: the text and two-byte forms of SAE J2012 /
// ISO 15031-6, the three-byte form with failure type and status of ISO 14229, and makers' own
// hexadecimal codes.
//
// Sources: public descriptions and test suites that quote the standards; the standards themselves
// were not read.
package dtc

import (
	"fmt"
	"strings"
)

// Code is a trouble code in its two-byte form: bits 15-14 are the letter P, C, B, U, bits 13-12
// the second character, the rest three hexadecimal digits.
type Code uint16

// letters in the order of bits 15-14.
const letters = "PCBU"

// FormatError says why a text or some bytes are not what they should be.
type FormatError struct {
	Input   string
	Problem string
}

func (e *FormatError) Error() string { return fmt.Sprintf("%q %s", e.Input, e.Problem) }

// ParseCode reads the text form, as in P0304, in either case. Its error is a *FormatError.
func ParseCode(text string) (Code, error) {
	t := strings.ToUpper(strings.TrimSpace(text))
	if len(t) != 5 {
		return 0, &FormatError{text, "is not a letter and four digits, as in P0304"}
	}
	letter := strings.IndexByte(letters, t[0])
	if letter < 0 {
		return 0, &FormatError{text, "must begin with P, C, B or U"}
	}
	if t[1] < '0' || t[1] > '3' {
		return 0, &FormatError{text, "must have 0 to 3 after the letter"}
	}
	value := letter<<2 | int(t[1]-'0')
	for _, c := range []byte(t[2:]) {
		digit := strings.IndexByte(hexDigits, c)
		if digit < 0 {
			return 0, &FormatError{text, "must end with three hexadecimal digits"}
		}
		value = value<<4 | digit
	}
	return Code(value), nil //nolint:gosec // 4 + 3*4 bits
}

const hexDigits = "0123456789ABCDEF"

// String is the text form.
func (c Code) String() string {
	return fmt.Sprintf("%c%d%03X", letters[c>>14], c>>12&3, uint16(c&0xFFF))
}

// Bytes is the two-byte form, high byte first.
func (c Code) Bytes() [2]byte { return [2]byte{byte(c >> 8), byte(c & 0xFF)} }

// FromBytes is the code of the two-byte form.
func FromBytes(high, low byte) Code { return Code(high)<<8 | Code(low) }
