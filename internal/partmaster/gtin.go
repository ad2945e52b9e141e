package partmaster

import (
	"fmt"
	"strings"
)

// The lengths of a GTIN, by the GS1 General Specifications: GTIN-8, GTIN-12,
// GTIN-13 and GTIN-14. A number of another length is a code of the house's own.
const longestGTIN = 14

func isGTINLength(n int) bool { return n == 8 || n == 12 || n == 13 || n == longestGTIN }

// CheckDigit is the last digit of a GTIN whose other digits are given: from the
// right they weigh 3, 1, 3, …, and the check digit makes their sum a multiple of
// ten (GS1 General Specifications, 'Check digit calculations').
func CheckDigit(digits string) (byte, error) {
	if !onlyDigits(digits) || len(digits) >= 18 {
		return 0, fmt.Errorf("%q is not made of digits", digits)
	}
	sum := 0
	for i := range len(digits) {
		d := int(digits[len(digits)-1-i] - '0')
		if i%2 == 0 {
			d *= 3
		}
		sum += d
	}
	return byte('0' + (10-sum%10)%10), nil
}

// Code is what a barcode says, in the form in which codes are compared: a GTIN
// of any length as 14 digits, anything else as it is. A reader may put its mark
// before it (]E0 for EAN, ]C1 and ]d2 for element strings), and an element string
// may put the application identifier 01 before the GTIN.
func Code(scanned string) (string, error) {
	text := strings.TrimSpace(scanned)
	elements := false
	for _, mark := range []string{"]E0", "]E4", "]C1", "]d2", "]Q3", "]e0"} {
		if rest, marked := strings.CutPrefix(text, mark); marked {
			text, elements = rest, mark != "]E0" && mark != "]E4"
			break
		}
	}
	text = strings.TrimPrefix(text, "\x1d") // FNC1 as some readers send it
	if rest, bracketed := strings.CutPrefix(text, "(01)"); bracketed {
		text, elements = "01"+rest, true
	}
	const identifier = "01"
	if elements && strings.HasPrefix(text, identifier) {
		if len(text) < len(identifier)+longestGTIN {
			return "", fmt.Errorf("%q breaks off within the GTIN; scan it again", scanned)
		}
		text = text[len(identifier) : len(identifier)+longestGTIN]
	}
	if text == "" {
		return "", fmt.Errorf("%q holds no code; scan it again", scanned)
	}
	if !onlyDigits(text) || !isGTINLength(len(text)) {
		return text, nil
	}
	want, err := CheckDigit(text[:len(text)-1])
	if err != nil {
		return "", err
	}
	if got := text[len(text)-1]; got != want {
		return "", fmt.Errorf("%s ends in %c, and its check digit is %c: a digit was misread or mistyped", text, got, want)
	}
	return strings.Repeat("0", longestGTIN-len(text)) + text, nil
}

func onlyDigits(text string) bool {
	for i := range len(text) {
		if text[i] < '0' || text[i] > '9' {
			return false
		}
	}
	return text != ""
}
