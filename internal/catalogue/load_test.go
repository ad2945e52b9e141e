package catalogue

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"google.golang.org/protobuf/reflect/protoreflect"

	pb "ramprow/proto/ramprow/catalogue/v1"
)

func TestUnreadableFiles(t *testing.T) {
	for _, tc := range []struct{ name, data, rule string }{
		{"empty", " \n\n", ruleReadable},
		{"line breaks of an old kind", "id: a\redition: 1\r", ruleReadable},
		{"too large", strings.Repeat("#", MaxBytes+1), ruleReadable},
		{"two documents", "id: a\n---\nid: b\n", ruleSyntax},
		{"a list", "- id: a\n", ruleSyntax},
		{"an alias", "id: &x a\ntitle: *x\n", ruleType},
	} {
		t.Run(tc.name, func(t *testing.T) {
			_, err := Load("x.yaml", []byte(tc.data))
			problems, ok := errors.AsType[*Problems](err)
			if !ok {
				t.Fatalf("have %v", err)
			}
			for _, p := range problems.List {
				if p.Rule == tc.rule {
					return
				}
			}
			t.Errorf("no %s in:\n%v", tc.rule, err)
		})
	}
}

func TestLoadFileMissing(t *testing.T) {
	if _, err := LoadFile(filepath.Join(t.TempDir(), "none.yaml")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("have %v", err)
	}
}

// TestEveryMistakeIsReported puts several mistakes of different layers into one
// file; one must not hide another.
func TestEveryMistakeIsReported(t *testing.T) {
	data, err := os.ReadFile("testdata/small.yaml")
	if err != nil {
		t.Fatal(err)
	}
	text := strings.NewReplacer(
		"edition: 1", "edition: 0", // the field's own rule
		"tools: [pin]\n", "tools: [pin]\n    colour: red\n", // unknown field
		"joints: [cover]", "joints: [covr]", // unknown reference
		"order: [2, 3, 1, 4]", "order: [2, 3]", // content
		"currency_code: EUR", "currencyCode: EUR", // no mistake: the other spelling
	).Replace(string(data))
	_, err = Load("many.yaml", []byte(text))
	problems, ok := errors.AsType[*Problems](err)
	if !ok {
		t.Fatalf("have %v", err)
	}
	found := map[string]bool{}
	for _, p := range problems.List {
		found[p.Rule] = true
	}
	for _, rule := range []string{ruleFieldRule, ruleType, "UNKNOWN_JOINT", "PATTERN_ORDER"} {
		if !found[rule] {
			t.Errorf("no %s in:\n%v", rule, err)
		}
	}
}

func TestPrint(t *testing.T) {
	var b strings.Builder
	err := Print(&b, []Problem{
		{File: "a.yaml", Line: 3, Column: 5, Field: "pieces[0].id", Rule: "DUPLICATE_ID", Message: "twice"},
		{File: "a.yaml", Line: 9, Column: 1, Rule: "PART_UNUSED", Severity: Warning, Message: "unused"},
	})
	if err != nil {
		t.Fatal(err)
	}
	want := "a.yaml:3:5: pieces[0].id: twice (DUPLICATE_ID)\na.yaml:9:1: warning: unused (PART_UNUSED)\n"
	if b.String() != want {
		t.Errorf("have\n%swant\n%s", b.String(), want)
	}
}

// TestEveryTextFieldIsDecidedUpon finds text fields of the proto about which
// nobody has said whether they hold ids. A new field must be decided upon: it
// goes into referenceFields, or it is a name, a word or a sentence.
func TestEveryTextFieldIsDecidedUpon(t *testing.T) {
	plain := map[string]bool{}
	for _, name := range strings.Fields(`id title notice currency_code how how_to_tell number supplier bin group
		code risk precaution thread property_class of any_of`) {
		plain[name] = true
	}
	references := referenceFields()
	seen := map[protoreflect.FullName]bool{}
	var visit func(protoreflect.MessageDescriptor)
	visit = func(m protoreflect.MessageDescriptor) {
		if seen[m.FullName()] || !strings.HasPrefix(string(m.FullName()), "ramprow.") {
			return
		}
		seen[m.FullName()] = true
		for i := range m.Fields().Len() {
			field := m.Fields().Get(i)
			_, refers := references[field.FullName()]
			if field.Kind() == protoreflect.StringKind && !refers && !plain[string(field.Name())] {
				t.Errorf("%s is neither a reference nor known to be plain text", field.FullName())
			}
			if field.Message() != nil {
				visit(field.Message())
			}
		}
	}
	visit((&pb.Catalogue{}).ProtoReflect().Descriptor())
	for name := range references {
		if !seen[name.Parent()] {
			t.Errorf("%s names no field of the catalogue", name)
		}
	}
}

// FuzzLoad wants an answer to any bytes: a catalogue, or problems that have a
// place and a rule. It must neither fail otherwise nor hang.
func FuzzLoad(f *testing.F) {
	files, err := filepath.Glob("testdata/rules/*.yaml")
	if err != nil {
		f.Fatal(err)
	}
	for _, file := range append(files, "testdata/small.yaml") {
		data, err := os.ReadFile(file)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Add([]byte("id: a\rb: c"))
	f.Add([]byte("pieces: [{id: &a x}, *a]\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := Load("fuzz.yaml", data)
		if err == nil {
			if c.Message().GetId() == "" || len(c.Message().GetPieces()) == 0 {
				t.Errorf("accepted %q", data)
			}
			return
		}
		problems, ok := errors.AsType[*Problems](err)
		if !ok || problems.Errors() == 0 {
			t.Fatalf("no problems in %v", err)
		}
		for _, p := range problems.List {
			if p.Line < 1 || p.Column < 1 || p.Rule == "" || p.Message == "" || strings.Contains(p.Message, "\n") {
				t.Errorf("incomplete problem %+v", p)
			}
		}
	})
}
