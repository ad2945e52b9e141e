package desk

import (
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"text/template/parse"
	"time"
)

// literals gives what a page writes by itself, with a mark where an action stands.
func literals(node parse.Node) string {
	var text strings.Builder
	branch := func(b *parse.BranchNode) {
		text.WriteString(literals(b.List))
		if b.ElseList != nil {
			text.WriteString(literals(b.ElseList))
		}
	}
	switch n := node.(type) {
	case *parse.ListNode:
		for _, inner := range n.Nodes {
			text.WriteString(literals(inner))
		}
	case *parse.TextNode:
		text.Write(n.Text)
	case *parse.IfNode:
		branch(&n.BranchNode)
	case *parse.RangeNode:
		branch(&n.BranchNode)
	case *parse.WithNode:
		branch(&n.BranchNode)
	default:
		text.WriteString("\x00")
	}
	return text.String()
}

var (
	tag      = regexp.MustCompile(`<[^>]*>`)
	spoken   = regexp.MustCompile(`\s(aria-label|alt|title|placeholder|data-queue|data-waits|data-refused|data-seen|label)="([^"]*)"`)
	letters  = regexp.MustCompile(`\pL{2,}`)
	sameEver = strings.NewReplacer("N·m", "", "km", "") // units of the SI are the same in every language
)

// A second language is one more file in words/: no page says a word of its own,
// neither in its text nor in what a screen reader or the script reads from it.
func TestPagesHaveNoWordsOfTheirOwn(t *testing.T) {
	d := &Desk{}
	pages, err := d.parsePages()
	if err != nil {
		t.Fatal(err)
	}
	for name, page := range pages {
		for _, part := range page.Templates() {
			if part.Tree == nil {
				continue
			}
			source := literals(part.Tree.Root)
			for _, attribute := range spoken.FindAllStringSubmatch(source, -1) {
				if letters.MatchString(attribute[2]) {
					t.Errorf("%s: %s says %q, which no word of the catalogue does", name, attribute[1], attribute[2])
				}
			}
			if own := letters.FindAllString(sameEver.Replace(tag.ReplaceAllString(source, " ")), -1); own != nil {
				t.Errorf("%s, %s: %q stand in the page and not in the catalogue", name, part.Name(), own)
			}
		}
	}
}

var quotation = regexp.MustCompile("\"[^\"]*\"|'[^']*'|`[^`]*`")

// sayings are the lines of a script that write words of their own into the page.
func sayings(source string) []string {
	var found []string
	for line := range strings.Lines(source) {
		if _, text, writes := strings.Cut(line, ".textContent = "); writes && slices.ContainsFunc(quotation.FindAllString(selector.ReplaceAllString(text, ""), -1), letters.MatchString) {
			found = append(found, strings.TrimSpace(line))
		}
	}
	return found
}

var selector = regexp.MustCompile(`querySelector(All)?\([^)]*\)`)

// The script takes its words from the page.
func TestTheScriptHasNoWordsOfItsOwn(t *testing.T) {
	source, err := os.ReadFile("assets/desk.js")
	if err != nil {
		t.Fatal(err)
	}
	if own := sayings(string(source)); own != nil {
		t.Errorf("the script says words of its own: %s", strings.Join(own, "\n"))
	}
	if sayings("head.textContent = waiting ? `${n} waiting` : \"Refused\";") == nil {
		t.Error("the search finds no words at all")
	}
}

// In a language that nobody speaks, every page that can be made without a
// service is made of that language's words alone, in their order of days.
func TestAnotherLanguage(t *testing.T) {
	d := english(t)
	d.Zone, d.Now = time.UTC, func() time.Time { return time.Unix(0, 0) }
	for key, text := range d.words {
		if strings.HasPrefix(key, "date.weekdays") || strings.HasPrefix(key, "date.months") {
			text = strings.Join(strings.Fields(text), "⟧ ⟦")
		}
		d.words[key] = "⟦" + text + "⟧"
	}
	d.words["lang"] = "xx"
	d.assetTags = map[string]string{}
	var err error
	if d.pages, err = d.parsePages(); err != nil {
		t.Fatal(err)
	}
	views := map[string]any{
		"signin": signInView{PINs: true}, "shelf": shelfView{}, "work": workView{}, "bays": boardView{}, "intake": intakeView{}, "problem": nil,
	}
	for page, view := range views {
		var made strings.Builder
		f := frame{Page: page, View: view, Problem: &problem{}}
		if err := d.pages[page].ExecuteTemplate(&made, "frame", f); err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(made.String(), `<html lang="xx">`) {
			t.Errorf("%s does not say its language", page)
		}
		body := tag.ReplaceAllString(made.String(), " ")
		if rest := letters.FindAllString(regexp.MustCompile(`⟦[^⟧]*⟧`).ReplaceAllString(body, ""), -1); len(rest) > 0 {
			t.Errorf("%s says %q in no language", page, rest)
		}
	}
}
