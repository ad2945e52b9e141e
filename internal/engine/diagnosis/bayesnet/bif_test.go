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
		{"negative number", variable + "probability ( a ) { table 1.005, -0.005; }", 2, "is no probability"},
		{"not a number", variable + "probability ( a ) { table NaN, 1; }", 2, "is no probability"},
		{"continuous", "variable a { type continuous [ 2 ] { x, y }; }", 1, "only discrete"},
		{"state twice", "variable a { type discrete [ 2 ] { x, x }; }", 1, "state given twice"},
		{"probabilities twice", variable + "probability ( a ) { table 1, 0; }\nprobability ( a ) { table 1, 0; }", 3, "twice"},
		{"unknown state", variable + "variable b { type discrete [ 1 ] { z }; }\nprobability ( b | a ) {\n(x) 1;\n(u) 1; }", 5, `no state "u"`},
		{"a quoted mark is no mark", `network "n" "{" property x; }`, 1, `expected "{"`},
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
		"missing table": variable,
		"row missing":   variable + "variable b { type discrete [ 1 ] { z }; } probability ( a ) { table 1, 0; } probability ( b | a ) { (x) 1; }",
		"sum is not 1":  variable + "probability ( a ) { table 0.5, 0.4; }",
		"cycle":         variable + "probability ( a | a ) { (x) 1, 0; (y) 0, 1; }",
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
	f.Add(javaBayes)
	f.Add(anyOrder)
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

// javaBayes is written in the way of the format's first editions: quoted names, no bar, counts in comments.
const javaBayes = `// Bayesian network
network "Dog" { //2 variables and 2 probability distributions
	property "credal-set constant-density-bounded 1.1" ;
	property "a ; semicolon and a } in quotes" ;
}
variable  "light on" { //2 values
	type discrete[2] {  "true"  "false" };
	property "position = (218, 195)" ;
}
variable  "family out" { //2 values
	type discrete[2] {  "true"  "false" };//end
}
probability (  "light on"  "family out" ) { //2 variable(s) and 4 values
	table 0.6 0.05 0.4 0.95 ;
}
probability (  "family out" ) { //1 variable(s) and 2 values
	table 0.15 0.85 ;
}
`

// anyOrder has probabilities before their variables, states with marks that other formats reserve, defaults before
// rows, numbers in every way of writing, rows that were rounded, stray semicolons and blanks of every kind.
const anyOrder = "\ufeffnetwork unknown {\r\n property author = \"x\" , year 1999 ; property; };\r\n" +
	"probability(b|a,c){default 5e-1,.5;(<5,yes)1.0E-1,0.9; property p; (>=7.5, no/maybe) 0.333 0.666;}\r\n" +
	"probability ( c ) { table 1 0; };" +
	"probability ( a ) { ( ) 0.25, 0.75 ; }/* a * / b */" +
	"variable a { property q ; type discrete { <5, >=7.5 } }\f" +
	"variable c { type discrete [ 2 ] { yes, no/maybe }; property \"//\" ; }\v" +
	"variable b { type discrete[2]{0,1}; }"

func TestReadBIFTakesEveryWayOfWriting(t *testing.T) {
	dog, err := ReadBIF(javaBayes)
	if err != nil {
		t.Fatal(err)
	}
	// P(light on) = .6 .15 + .05 .85
	if a, err := dog.Query(nil); err != nil || !near(a.Posterior[0][0], 0.1325) || dog.Name != "Dog" {
		t.Errorf("dog: %v %v", a.Posterior, err)
	}
	n, err := ReadBIF(anyOrder)
	if err != nil {
		t.Fatal(err)
	}
	b, _ := n.Index("b")
	want := []float64{0.1, 0.9, 0.5, 0.5, 0.5, 0.5, 1. / 3, 2. / 3} // by a, c, b
	for i, x := range n.Variables[b].Table {
		if !near(x, want[i]) {
			t.Errorf("entry %d is %v, want %v", i, x, want[i])
		}
	}
	if !near(n.Rounding, 0.001) {
		t.Errorf("rounding %v, want 0.001", n.Rounding)
	}
	a, err := n.Ask(Question{Variables: []string{"b"}, Evidence: map[string]string{"c": "yes"}})
	if err != nil || !near(a.Posterior[b][0], 0.25*0.1+0.75*0.5) {
		t.Errorf("b given c: %v %v", a.Posterior, err)
	}
}

func near(got, want float64) bool { return got > want-1e-12 && got < want+1e-12 }
