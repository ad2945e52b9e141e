package vehicle

import (
	"errors"
	"slices"
	"strings"
	"testing"
)

// Sums and check digits: 49 CFR 565.15 Table VI and public test suites, recomputed.
func TestParseVIN(t *testing.T) {
	tests := []struct {
		vin string
		sum int
		// want is the check digit by the sum; ok whether the number is accepted.
		want byte
		ok   bool
	}{
		{"1G4AH59H45G118341", 411, '4', true}, // 49 CFR 565.15 Table VI
		{"1M8GDM9AXKP042788", 351, 'X', true},
		{"11111111111111111", 89, '1', true},
		{"1HGCM82633A004352", 311, '3', true},
		{"JM1BN1U70H1100922", 286, '0', true},
		{"KM8K2CAB4PU001140", 257, '4', true},
		{"1VWBH7A30DC104945", 319, '0', true},
		{"1VWBH7A31DC104945", 319, '0', false},
		{"1G4AH59H45G118331", 408, '1', false},
		{"1G4AH59HX5G118344", 417, 'X', true},
		{"1HGCM82633A004353", 313, '5', false},
		{"WVWZZZ1KZAW394821", 441, '1', true}, // European: position 9 is a filler
	}
	for _, tt := range tests {
		t.Run(tt.vin, func(t *testing.T) {
			if sum := VIN(tt.vin).CheckSum(); sum != tt.sum {
				t.Errorf("sum %d, want %d", sum, tt.sum)
			}
			if digit := VIN(tt.vin).CheckDigit(); digit != tt.want {
				t.Errorf("check digit %c, want %c", digit, tt.want)
			}
			got, err := ParseVIN(" " + strings.ToLower(tt.vin) + "\n")
			if tt.ok {
				if err != nil || string(got) != tt.vin {
					t.Errorf("got %q, %v", got, err)
				}
				return
			}
			var bad *VINError
			if !errors.As(err, &bad) || bad.Reason != BadCheckDigit || bad.Want != string(tt.want) || bad.Position != 9 {
				t.Errorf("got %v, want check digit %c demanded", err, tt.want)
			}
		})
	}
}

func TestParseVINRefusesForm(t *testing.T) {
	tests := []struct {
		name, text string
		want       VINError
	}{
		{"empty", "", VINError{Reason: BadLength}},
		{"short", "1G4AH59H45G11834", VINError{Reason: BadLength, Length: 16}},
		{"long", "1G4AH59H45G1183411", VINError{Reason: BadLength, Length: 18}},
		{"letter I", "1G4AH59H45G11834I", VINError{Reason: BadCharacter, Position: 17, Got: "I"}},
		{"letter o", "1o4AH59H45G118341", VINError{Reason: BadCharacter, Position: 2, Got: "O"}},
		{"letter Q", "WVWZZZ1KZAQ394821", VINError{Reason: BadCharacter, Position: 11, Got: "Q"}},
		{"hyphen", "1G4AH59H-5G118341", VINError{Reason: BadCharacter, Position: 9, Got: "-"}},
		{"counts characters, not bytes", "1G4AH59H45G11834é", VINError{Reason: BadCharacter, Position: 17, Got: "é"}},
		{"long s is no S", "ſG4AH59H45G118341", VINError{Reason: BadCharacter, Position: 1, Got: "ſ"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := ParseVIN(tt.text)
			var got *VINError
			if !errors.As(err, &got) || *got != tt.want {
				t.Errorf("got %+v, want %+v", err, tt.want)
			}
		})
	}
}

// Year letters A-H J-N P R S T V W X Y 1-9 stand for 1980 to 2009 and again for 2010 to 2039.
func TestModelYears(t *testing.T) {
	tests := []struct {
		vin  VIN
		want []int
	}{
		{"1G4AH59H45G118341", []int{2005}},       // digit at position 7
		{"1M8GDM9AXKP042788", []int{1989}},       // digit at position 7
		{"1VWBH7A30DC104945", []int{2013}},       // letter at position 7
		{"WVWZZZ1KZAW394821", []int{1980, 2010}}, // a hint
		{"WVWZZZ1KZ9W394821", []int{2009, 2039}},
		{"WVWZZZ1KZYW394821", []int{2000, 2030}},
		{"WVWZZZ1KZ1W394821", []int{2001, 2031}},
		{"WVWZZZ1KZ0W394821", nil}, // no year
		{"WVWZZZ1KZUW394821", nil},
	}
	for _, tt := range tests {
		if got := tt.vin.ModelYears(); !slices.Equal(got, tt.want) {
			t.Errorf("%s: %v, want %v", tt.vin, got, tt.want)
		}
	}
}

func TestRegionAndParts(t *testing.T) {
	regions := map[string]Region{
		"AH": Africa, "JKLMNPR": Asia, "SZ": Europe, "12345": NorthAmerica, "67": Oceania, "89": SouthAmerica, "0": UnknownRegion,
	}
	for firsts, want := range regions {
		for _, c := range firsts {
			v := VIN(string(c) + "VWZZZ1KZAW394821")
			if got := v.Region(); got != want {
				t.Errorf("%c: %v, want %v", c, got, want)
			}
		}
	}
	if got := VIN("1G4AH59H45G118341").Maker(); got != "1G4" {
		t.Errorf("maker %q", got)
	}
	if got := VIN("1G9AH59H45G118341").Maker(); got != "1G9118" {
		t.Errorf("small maker %q", got)
	}
	if got := VIN("1G4AH59H45G118341").Serial(); got != "5G118341" {
		t.Errorf("serial %q", got)
	}
}

func FuzzParseVIN(f *testing.F) {
	for _, s := range []string{"1G4AH59H45G118341", "wvwzzz1kzaw394821", "", "ſſſſſſſſſſſſſſſſſ", "\xff"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		v, err := ParseVIN(text)
		if err != nil {
			var typed *VINError
			if !errors.As(err, &typed) || typed.Error() == "" {
				t.Fatalf("untyped error %v", err)
			}
			return
		}
		again, err := ParseVIN(string(v))
		if err != nil || again != v || len(v) != 17 {
			t.Fatalf("%q does not parse to itself: %q, %v", v, again, err)
		}
		_, _, _, _ = v.Region().String(), v.Maker(), v.ModelYears(), v.Serial()
	})
}
