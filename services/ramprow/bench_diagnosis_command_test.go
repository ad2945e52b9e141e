package main

import (
	"bytes"
	"encoding/json"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ramprow/services/ramprow/networks"
)

// Two causes with a common effect, as by hand: P(c=y) = .5 .2 .9 + .5 .8 .4 + .5 .2 .3 + .5 .8 .1 = .32, and
// P(a=y | c=y) = (.09 + .16) / .32.
const vee = `network vee { }
variable a { type discrete [ 2 ] { y, n }; }
variable b { type discrete [ 2 ] { y, n }; }
variable c { type discrete [ 2 ] { y, n }; }
probability ( a ) { table 0.5, 0.5; }
probability ( b ) { table 0.2, 0.8; }
probability ( c | a, b ) { (y, y) 0.9, 0.1; (y, n) 0.4, 0.6; (n, y) 0.3, 0.7; default 0.1, 0.9; }
`

func benchDiagnosis(t *testing.T, args ...string) (string, error) {
	t.Helper()
	var out bytes.Buffer
	root := rootCommand()
	root.SetArgs(append([]string{"bench", "diagnosis"}, args...))
	root.SetOut(&out)
	root.SetErr(io.Discard)
	err := root.ExecuteContext(t.Context())
	return out.String(), err
}

func TestBenchDiagnosisAnswers(t *testing.T) {
	file := filepath.Join(t.TempDir(), "vee.bif")
	if err := os.WriteFile(file, []byte(vee), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := benchDiagnosis(t, file, "--evidence", "c=y", "--query", "a", "--check", "--output", "json")
	if err != nil {
		t.Fatal(err)
	}
	var results []networks.Result
	if err := json.Unmarshal([]byte(out), &results); err != nil || len(results) != 1 {
		t.Fatalf("%v in %s", err, out)
	}
	r := results[0]
	if math.Abs(r.Evidence-.32) > 1e-12 || len(r.Posterior) != 1 || math.Abs(r.Posterior[0].P[0]-.25/.32) > 1e-12 {
		t.Errorf("evidence %v, posteriors %v", r.Evidence, r.Posterior)
	}
	if r.Checked == nil || r.Checked.Worlds != 4 || r.Checked.Difference > 1e-12 || r.Variables != 3 || r.Edges != 2 || r.Parameters != 6 {
		t.Errorf("%+v %+v", r, r.Checked)
	}
	out, err = benchDiagnosis(t, file, "--evidence", "c=y")
	if err != nil || !strings.Contains(out, "a  y  0.7812500000") || !strings.Contains(out, "treewidth 1") {
		t.Errorf("%v in %s", err, out)
	}
}

func TestBenchDiagnosisRefuses(t *testing.T) {
	folder := t.TempDir()
	if _, err := benchDiagnosis(t, folder); err == nil || !strings.Contains(err.Error(), ".bif") {
		t.Errorf("an empty folder: %v", err)
	}
	file := filepath.Join(folder, "vee.bif")
	if err := os.WriteFile(file, []byte(vee), 0o600); err != nil {
		t.Fatal(err)
	}
	for flags, want := range map[string]string{
		"":                                 "",
		"--evidence a":                     "VARIABLE=STATE",
		"--evidence a=y,a=n":               "each variable once",
		"--evidence a=maybe":               "a (y, n)",
		"--query d":                        "not in the network",
		"--memory 0":                       "above zero",
		"--memory 0.00001":                 "width 2",
		"--output xml":                     "table or json",
		"--query a --evidence c=y,a=n,b=n": "",
	} {
		_, err := benchDiagnosis(t, append([]string{file}, strings.Fields(flags)...)...)
		if (want == "") != (err == nil) || err != nil && !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", flags, err, want)
		}
	}
	if err := os.WriteFile(filepath.Join(folder, "broken.bif"), []byte("network {"), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := benchDiagnosis(t, folder, "--check"); err != nil || !strings.Contains(out, "refused: line 1") || !strings.Contains(out, "off by") {
		t.Errorf("a folder with one that is no network: %v\n%s", err, out)
	}
}
