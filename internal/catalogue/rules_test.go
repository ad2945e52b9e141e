package catalogue

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

const mark = "# mistake:"

// TestEveryRuleHasAFixture keeps the rules and the fixtures together: each rule
// has a file with exactly that mistake, and each file a rule.
func TestEveryRuleHasAFixture(t *testing.T) {
	wanted := map[string]bool{ruleSyntax: true, ruleType: true, ruleRepeated: true, ruleFieldRule: true}
	for _, r := range rules() {
		if wanted[r.name] {
			t.Errorf("rule %s is listed twice", r.name)
		}
		wanted[r.name] = true
	}
	for _, file := range fixtures(t) {
		if name := fixtureRule(file); !wanted[name] {
			t.Errorf("%s is a fixture of no rule", file)
		} else {
			delete(wanted, name)
		}
	}
	for name := range wanted {
		t.Errorf("rule %s has no fixture testdata/rules/%s.yaml", name, name)
	}
}

// TestFixtures loads each fixture and wants the one problem that it is named
// after, in the line and at the field that its mark says.
func TestFixtures(t *testing.T) {
	severity := map[string]Severity{}
	for _, r := range rules() {
		severity[r.name] = r.severity
	}
	for _, file := range fixtures(t) {
		t.Run(fixtureRule(file), func(t *testing.T) {
			line, field := marked(t, file)
			problems := problemsOf(t, file)
			if len(problems) != 1 {
				t.Fatalf("want exactly one problem, have %d:\n%v", len(problems), (&Problems{List: problems}).Error())
			}
			got := problems[0]
			want := Problem{
				File: file, Line: line, Column: got.Column, Field: field,
				Rule: fixtureRule(file), Severity: severity[fixtureRule(file)], Message: got.Message,
			}
			if got != want {
				t.Errorf("have %+v\nwant %+v", got, want)
			}
			if got.Column < 1 || got.Message == "" {
				t.Errorf("column %d, message %q", got.Column, got.Message)
			}
		})
	}
}

// TestSmallCatalogueIsClean makes sure that the fixtures' common base adds no
// problem of its own.
func TestSmallCatalogueIsClean(t *testing.T) {
	if problems := problemsOf(t, "testdata/small.yaml"); len(problems) > 0 {
		t.Error((&Problems{List: problems}).Error())
	}
}

func fixtures(t *testing.T) []string {
	t.Helper()
	files, err := filepath.Glob("testdata/rules/*.yaml")
	if err != nil || len(files) == 0 {
		t.Fatalf("no fixtures: %v", err)
	}
	return files
}

func fixtureRule(file string) string { return strings.TrimSuffix(filepath.Base(file), ".yaml") }

// marked gives the line that holds the mark and the field written after it.
func marked(t *testing.T, file string) (line int, field string) {
	t.Helper()
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	for i, text := range strings.Split(string(data), "\n") {
		if _, after, found := strings.Cut(text, mark); found {
			return i + 1, strings.TrimSpace(after)
		}
	}
	t.Fatalf("%s has no line with %q", file, mark)
	return 0, ""
}

// problemsOf loads a file and gives everything found in it, warnings too.
func problemsOf(t *testing.T, file string) []Problem {
	t.Helper()
	c, err := LoadFile(file)
	if err == nil {
		return c.Warnings()
	}
	problems, ok := errors.AsType[*Problems](err)
	if !ok {
		t.Fatalf("LoadFile(%s): %v", file, err)
	}
	return problems.List
}
