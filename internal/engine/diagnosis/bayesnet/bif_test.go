package bayesnet

import (
	"errors"
	"strings"
	"testing"
)

func TestReadBIFTellsWhere(t *testing.T) {
	variable := "variable a { type discrete [ 2 ] { x, y }; }\n"
	tests := []struct {
		name, text string
		line       int
		words      string
	}{
		{"no keyword", "hello", 1, "expected network"},
		{"cut off", variable + "probability ( a ) { table 0.5, 0.5;", 2, "found the end"},
		{"unknown variable", variable + "probability ( b ) { table 1; }", 2, "expected a variable"},
		{"unknown parent", variable + "probability ( a | b ) { table 1; }", 2, `parent "b"`},
		{"wrong count of states", "variable a { type discrete [ 3 ] { x, y }; }", 1, "2 states are listed"},
		{"wrong count of numbers", variable + "probability ( a ) {\ntable 0.5; }", 3, "expected 2 probabilities"},
		{"no number", variable + "probability ( a ) { table 0.5, half; }", 2, "is no number"},
		{"twice", variable + variable, 2, "given twice"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := ReadBIF(tt.text)
			var syntax *SyntaxError
			if !errors.As(err, &syntax) || syntax.Line != tt.line || !strings.Contains(err.Error(), tt.words) {
				t.Errorf("got %v, want line %d with %q", err, tt.line, tt.words)
			}
		})
	}
	for name, text := range map[string]string{
		"missing table":   variable,
		"row missing":     variable + "variable b { type discrete [ 1 ] { z }; } probability ( a ) { table 1, 0; } probability ( b | a ) { (x) 1; }",
		"sum is not 1":    variable + "probability ( a ) { table 0.5, 0.4; }",
		"negative number": variable + "probability ( a ) { table 1.005, -0.005; }",
		"cycle":           variable + "probability ( a | a ) { (x) 1, 0; (y) 0, 1; }",
	} {
		var bad *InvalidError
		if _, err := ReadBIF(text); !errors.As(err, &bad) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func FuzzReadBIF(f *testing.F) {
	f.Add("network x { }\nvariable a { type discrete [ 2 ] { x, y }; }\nprobability ( a ) { table 0.5, 0.5; }")
	f.Add(`variable "a { type /* `)
	f.Add("probability ( | ) { (,) default ; }")
	f.Fuzz(func(t *testing.T, text string) {
		n, err := ReadBIF(text)
		if err != nil {
			return
		}
		if err := n.Check(); err != nil {
			t.Fatalf("a network that was read is refused: %v", err)
		}
	})
}
