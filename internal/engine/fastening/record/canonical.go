package record

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf16"
)

// canonical appends a value in the form of RFC 8785. Values are those that
// parse gives: map[string]any, []any, string, float64, bool and nil.
func canonical(b []byte, v any) []byte {
	switch v := v.(type) {
	case map[string]any:
		return canonicalObject(b, v)
	case []any:
		b = append(b, '[')
		for i, item := range v {
			if i > 0 {
				b = append(b, ',')
			}
			b = canonical(b, item)
		}
		return append(b, ']')
	case string:
		return canonicalString(b, v)
	case float64:
		return canonicalNumber(b, v)
	case bool:
		return strconv.AppendBool(b, v)
	default:
		return append(b, "null"...)
	}
}

func canonicalObject(b []byte, v map[string]any) []byte {
	names := make([]string, 0, len(v))
	for name := range v {
		names = append(names, name)
	}
	slices.SortFunc(names, byUTF16)
	b = append(b, '{')
	for i, name := range names {
		if i > 0 {
			b = append(b, ',')
		}
		b = append(canonicalString(b, name), ':')
		b = canonical(b, v[name])
	}
	return append(b, '}')
}

// byUTF16 orders names by their UTF-16 code units, as RFC 8785 3.2.3 asks.
func byUTF16(a, b string) int {
	return cmp.Or(slices.Compare(utf16.Encode([]rune(a)), utf16.Encode([]rune(b))), strings.Compare(a, b))
}

// canonicalString escapes only what JSON demands (RFC 8785 3.2.2.2).
func canonicalString(b []byte, s string) []byte {
	short := map[rune]string{'"': `\"`, '\\': `\\`, '\b': `\b`, '\f': `\f`, '\n': `\n`, '\r': `\r`, '\t': `\t`}
	b = append(b, '"')
	for _, r := range s {
		switch escaped, ok := short[r]; {
		case ok:
			b = append(b, escaped...)
		case r < ' ':
			b = fmt.Appendf(b, `\u%04x`, r)
		default:
			b = append(b, string(r)...)
		}
	}
	return append(b, '"')
}

// canonicalNumber writes a double as ECMAScript does (RFC 8785 3.2.2.3): the
// shortest digits that give it back, without an exponent from 1e-6 to below 1e21.
func canonicalNumber(b []byte, v float64) []byte {
	size := math.Abs(v)
	switch {
	case v == 0:
		return append(b, '0')
	case size >= 1e-6 && size < 1e21:
		return strconv.AppendFloat(b, v, 'f', -1, 64)
	}
	text := strconv.FormatFloat(v, 'e', -1, 64)
	// Go writes at least two digits of exponent, ECMAScript as few as it can.
	mantissa, exponent, _ := strings.Cut(text, "e")
	return append(b, mantissa+"e"+exponent[:1]+strings.TrimLeft(exponent[1:], "0")...)
}
