package dtc

import (
	"errors"
	"slices"
	"strings"
	"testing"
)

// Pairs seen in public decoders and code comments, or that follow from the layout.
func TestCodeTable(t *testing.T) {
	tests := []struct {
		high, low byte
		text      string
	}{
		{0x01, 0x04, "P0104"},
		{0x41, 0x23, "C0123"},
		{0x80, 0x03, "B0003"},
		{0x01, 0x33, "P0133"},
		{0x0A, 0x9B, "P0A9B"},
		{0x08, 0x05, "P0805"}, // a public demo encodes it as 80 51, which is B0051
		{0x92, 0x34, "B1234"},
		{0x42, 0x40, "C0240"},
		{0xFF, 0xFF, "U3FFF"},
		{0xC1, 0x00, "U0100"},
		{0xC1, 0x58, "U0158"},
		{0x80, 0x51, "B0051"},
		{0x03, 0x01, "P0301"},
		{0x25, 0x22, "P2522"},
	}
	for _, tt := range tests {
		if got := FromBytes(tt.high, tt.low).String(); got != tt.text {
			t.Errorf("%02X %02X: %s, want %s", tt.high, tt.low, got, tt.text)
		}
		code, err := ParseCode(strings.ToLower(tt.text))
		if err != nil || code.Bytes() != [2]byte{tt.high, tt.low} {
			t.Errorf("%s: %v, %v", tt.text, code.Bytes(), err)
		}
	}
}

func TestCodeRoundTripOfAll(t *testing.T) {
	seen := map[string]bool{}
	for v := range 1 << 16 {
		c := Code(v)
		text := c.String()
		back, err := ParseCode(text)
		if err != nil || back != c || seen[text] {
			t.Fatalf("%04X -> %s -> %04X, %v (seen before: %v)", v, text, back, err, seen[text])
		}
		seen[text] = true
		if b := c.Bytes(); FromBytes(b[0], b[1]) != c {
			t.Fatalf("%04X does not survive its bytes", v)
		}
	}
}

func TestParseKey(t *testing.T) {
	tests := []struct {
		text, want string
		ok         bool
	}{
		{" p0304 ", "P0304", true},
		{"P0A9B-17", "P0A9B-17", true},
		{"p2522-1f", "P2522-1F", true},
		{"0x2a10", "0x2A10", true},
		{"0X02A1", "0x02A1", true},
		{"0x2", "", false},
		{"0x1234567", "", false},
		{"0xZZ", "", false},
		{"X0304", "", false},
		{"P4304", "", false},
		{"P030G", "", false},
		{"P0304-1", "", false},
		{"P0304-1G", "", false},
		{"", "", false},
	}
	for _, tt := range tests {
		key, err := ParseKey(tt.text)
		var format *FormatError
		switch {
		case tt.ok && (err != nil || key.String() != tt.want):
			t.Errorf("%q: %q, %v; want %q", tt.text, key, err, tt.want)
		case !tt.ok && !errors.As(err, &format):
			t.Errorf("%q: %v, want a format error", tt.text, err)
		}
	}
}

func FuzzParseKey(f *testing.F) {
	for _, s := range []string{"P0304", "u3fff", "P0A9B-17", "0x2A10", "0x", "-", "\xff\xff\xff\xff\xff"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		key, err := ParseKey(text)
		if err != nil {
			return
		}
		again, err := ParseKey(key.String())
		if err != nil || again != key {
			t.Fatalf("%q -> %q -> %q, %v", text, key, again, err)
		}
	})
}

func FuzzAnswers(f *testing.F) {
	f.Add([]byte{0x43, 0x02, 0x01, 0x02, 0x01, 0x13})
	f.Add([]byte{0x59, 0x02, 0x7F, 0x0A, 0x9B, 0x17, 0x24})
	f.Add([]byte{0x41, 0x01, 0x81, 0x07, 0x65, 0x04})
	f.Fuzz(func(t *testing.T, answer []byte) {
		for _, can := range []bool{true, false} {
			if codes, err := ParseStored(answer, can); err == nil && (len(codes) > len(answer)/2 || slices.Contains(codes, 0)) {
				t.Fatalf("% X: %v", answer, codes)
			}
		}
		if r, err := ParseReport(answer); err == nil {
			again := []byte{answer[0], answer[1], byte(r.Availability)}
			for _, x := range r.Records {
				b := x.Bytes()
				again = append(again, b[:]...)
			}
			if !slices.Equal(again, answer) {
				t.Fatalf("% X -> % X", answer, again)
			}
		}
		if r, err := ParseReadiness(answer); err == nil && r.Codes > 127 {
			t.Fatalf("%d codes", r.Codes)
		}
	})
}
