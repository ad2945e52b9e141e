package bayesnet

import "strings"

// token is a word or a punctuation mark.
type token struct {
	text string
	line int
	kind tokenKind
}

type tokenKind int

const (
	word   tokenKind = iota
	quoted           // a word, whatever it holds: never a mark or a keyword
	mark
	end
)

// is reports whether the token is the mark or keyword.
func (t token) is(text string) bool { return t.kind != quoted && t.kind != end && t.text == text }

// named reports whether the token can be a name.
func (t token) named() bool { return t.kind == word || t.kind == quoted }

const punctuation = "{}()[],;|"

// tokenize splits BIF. Words may hold anything but space and punctuation; quotes are dropped;
// comments as in C++ are passed over, also right behind a word. A mark of byte order is no text.
func tokenize(text string) []token {
	text = strings.TrimPrefix(text, "\ufeff")
	var out []token
	line := 1
	for i := 0; i < len(text); {
		switch c := text[i]; {
		case c == '\n':
			line++
			i++
		case c == ' ' || c == '\t' || c == '\r' || c == '\f' || c == '\v':
			i++
		case strings.HasPrefix(text[i:], "//"):
			i += span(text[i:], "\n", 0)
		case strings.HasPrefix(text[i:], "/*"):
			n := 2 + span(text[i+2:], "*/", 2)
			line += strings.Count(text[i:i+n], "\n")
			i += n
		case strings.IndexByte(punctuation, c) >= 0:
			out = append(out, token{text[i : i+1], line, mark})
			i++
		case c == '"':
			n := span(text[i+1:], `"`, 0)
			out = append(out, token{text[i+1 : i+1+n], line, quoted})
			line += strings.Count(text[i+1:i+1+n], "\n")
			i += min(n+2, len(text)-i)
		default:
			n := wordLength(text[i:])
			out = append(out, token{text[i : i+n], line, word})
			i += n
		}
	}
	return append(out, token{"", line, end})
}

// wordLength is how long the word is that the text begins with; at least 1.
func wordLength(text string) int {
	n := strings.IndexAny(text, " \t\r\n\f\v\""+punctuation)
	if n < 0 {
		n = len(text)
	}
	for _, comment := range []string{"//", "/*"} {
		if at := strings.Index(text[1:n], comment); at >= 0 {
			n = at + 1
		}
	}
	return n
}

// span is how far the end mark lies, and beyond it by extra; all of the text where it is missing.
func span(text, end string, extra int) int {
	if n := strings.Index(text, end); n >= 0 {
		return n + extra
	}
	return len(text)
}
