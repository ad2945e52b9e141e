// Package vehicle reads what identifies a car: the vehicle identification number.
//
// Sources: the form of ISO 3779 and the check digit of 49 CFR 565.15 as quoted in public copies; the
// standards themselves were not read.
package vehicle

import (
	"fmt"
	"strings"
)

// VIN is a vehicle identification number in canonical form: 17 characters, upper case, checked.
type VIN string

// length of a VIN; checkPosition is the index of the check digit where the region uses one.
const (
	length        = 17
	checkPosition = 8
)

// Reason is why a text is not a VIN.
type Reason int

// The reasons.
const (
	// BadLength: not 17 characters.
	BadLength Reason = iota
	// BadCharacter: neither a digit nor a letter, or one of I, O and Q, which are never used.
	BadCharacter
	// BadCheckDigit: position 9 does not agree with the rest.
	BadCheckDigit
)

// VINError says why a text is not a VIN.
type VINError struct {
	Reason Reason
	// Length is how many characters there are, for BadLength.
	Length int
	// Position counts from 1, for BadCharacter and BadCheckDigit.
	Position int
	// Got is what stands there; Want is the right check digit.
	Got  string
	Want string
}

func (e *VINError) Error() string {
	switch e.Reason {
	case BadLength:
		return fmt.Sprintf("a VIN has %d characters, not %d; compare it with the plate", length, e.Length)
	case BadCharacter:
		return fmt.Sprintf("%q at position %d is never used in a VIN (nor are I, O, Q); compare it with the plate", e.Got, e.Position)
	case BadCheckDigit:
		return fmt.Sprintf("check digit at position %d is %s and should be %s; a character was misread", e.Position, e.Got, e.Want)
	}
	return "not a VIN"
}

// ParseVIN folds case, drops spaces around it, and checks the form; the check digit is
// demanded only of North American numbers (first character 1 to 5), since others use its position
// freely. Its error is a *VINError.
func ParseVIN(text string) (VIN, error) {
	folded := strings.Map(upper, strings.TrimSpace(text))
	if n := len([]rune(folded)); n != length {
		return "", &VINError{Reason: BadLength, Length: n}
	}
	for i, c := range []rune(folded) {
		if value(c) < 0 {
			return "", &VINError{Reason: BadCharacter, Position: i + 1, Got: string(c)}
		}
	}
	v := VIN(folded)
	if want := v.CheckDigit(); v.Region() == NorthAmerica && folded[checkPosition] != want {
		return "", &VINError{
			Reason: BadCheckDigit, Position: checkPosition + 1,
			Got: folded[checkPosition : checkPosition+1], Want: string(want),
		}
	}
	return v, nil
}

// upper folds ASCII only: Unicode folding would turn other signs, as the long s, into letters.
func upper(c rune) rune {
	if c >= 'a' && c <= 'z' {
		return c - 'a' + 'A'
	}
	return c
}

// value is the number for which a character stands in the check sum, -1 where it is not allowed.
func value(c rune) int {
	const letters = "A1B2C3D4E5F6G7H8J1K2L3M4N5P7R9S2T3U4V5W6X7Y8Z9"
	if c >= '0' && c <= '9' {
		return int(c - '0')
	}
	if at := strings.IndexRune(letters, c); c >= 'A' && c <= 'Z' && at >= 0 {
		return int(letters[at+1] - '0')
	}
	return -1
}

// CheckSum is the weighted sum of all characters; position 9 has no weight.
func (v VIN) CheckSum() int {
	weights := [length]int{8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2}
	sum := 0
	for i, c := range v {
		sum += weights[i] * value(c)
	}
	return sum
}

// CheckDigit is what position 9 is where it is a check digit: '0' to '9' or 'X' for 10.
func (v VIN) CheckDigit() byte { return "0123456789X"[v.CheckSum()%11] }

// Maker is the world manufacturer identifier. A third character 9 marks a small maker, told apart
// by positions 12 to 14, which then follow it.
func (v VIN) Maker() string {
	if v[2] == '9' {
		return string(v[:3] + v[11:14])
	}
	return string(v[:3])
}

// Serial is the last eight characters, the vehicle indicator section.
func (v VIN) Serial() string { return string(v[9:]) }
