package partmaster

import (
	"strings"
	"testing"
)

// Published GTINs with their check digits.
func TestCheckDigit(t *testing.T) {
	for gtin, source := range map[string]string{
		"8904000210037":  "gs1india.org, 'How to calculate the check digit'",
		"7300011000017":  "gs1.se, 'Så beräknas kontrollsiffran'",
		"6291041500213":  "gs1hk.org, 'Example of a check digit calculation'",
		"036000241457":   "the usual example of a UPC-A number",
		"9780306406157":  "the usual example of an ISBN-13 (from memory)",
		"73513537":       "the usual example of an EAN-8 (from memory)",
		"10012345678902": "composed here by the rule: a GTIN-14 over 1001234567890",
	} {
		got, err := CheckDigit(gtin[:len(gtin)-1])
		if err != nil || got != gtin[len(gtin)-1] {
			t.Errorf("%s (%s): %c, %v", gtin, source, got, err)
		}
	}
	for _, bad := range []string{"", "12a4", "123456789012345678"} {
		if _, err := CheckDigit(bad); err == nil {
			t.Errorf("%q has a check digit", bad)
		}
	}
}

func TestCode(t *testing.T) {
	for _, tt := range []struct{ scanned, want, mistake string }{
		{"6291041500213", "06291041500213", ""},
		{" 6291041500213\r\n", "06291041500213", ""},
		{"]E06291041500213", "06291041500213", ""},
		{"036000241457", "00036000241457", ""},
		{"73513537", "00000073513537", ""},
		{"]C10106291041500213", "06291041500213", ""},
		{"]d20106291041500213" + "10LOT7", "06291041500213", ""},
		{"(01)06291041500213", "06291041500213", ""},
		{"0106291041500213", "0106291041500213", ""}, // 16 digits without a mark: a code of the house
		{"6291041500214", "", "its check digit is 3"},
		{"]C101062910", "", "breaks off"},
		{"", "", "holds no code"},
		{"SHELF-A7", "SHELF-A7", ""},
		{"12345", "12345", ""},
	} {
		got, err := Code(tt.scanned)
		if tt.mistake == "" && (err != nil || got != tt.want) {
			t.Errorf("%q: %q, %v", tt.scanned, got, err)
		}
		if tt.mistake != "" && (err == nil || !strings.Contains(err.Error(), tt.mistake)) {
			t.Errorf("%q: %v, want %q", tt.scanned, err, tt.mistake)
		}
	}
}

// Every single misread digit, and no two neighbours swapped whose difference is
// not 5, passes: what the weights 3 and 1 are for.
func TestMisreadDigitsAreSeen(t *testing.T) {
	const good = "6291041500213"
	for i := range len(good) {
		for d := byte('0'); d <= '9'; d++ {
			misread := good[:i] + string(d) + good[i+1:]
			if _, err := Code(misread); (err == nil) != (misread == good) {
				t.Errorf("%s passes: %v", misread, err == nil)
			}
		}
		if i == 0 || good[i] == good[i-1] || (good[i]+10-good[i-1])%10 == 5 {
			continue
		}
		if swapped := good[:i-1] + string(good[i]) + string(good[i-1]) + good[i+1:]; true {
			if _, err := Code(swapped); err == nil {
				t.Errorf("%s passes", swapped)
			}
		}
	}
}

func FuzzCode(f *testing.F) {
	for _, seed := range []string{"6291041500213", "]C10106291041500213", "(01)06291041500213", "", "SHELF-A7", "\x1d01", "]d2"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, scanned string) {
		code, err := Code(scanned)
		if err != nil {
			return
		}
		again, err := Code(code)
		// A GTIN stays what it is. A code of the house may look like a mark or like
		// blanks, and then says less the second time.
		if isGTINLength(len(code)) && onlyDigits(code) && (err != nil || again != code) {
			t.Errorf("%q is %q, and that is %q, %v", scanned, code, again, err)
		}
	})
}
