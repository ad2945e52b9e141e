package bayesnet

import "strings"

// token is a word or a punctuation mark; an empty one is the end.
type token struct {
	text string
	line int
}

const punctuation = "{}()[],;|"

// tokenize splits BIF. Words may hold anything but space and punctuation; quotes are dropped;
// comments as in C++ are passed over.
func tokenize(text string) []token {
	var out []token
	line := 1
	for i := 0; i < len(text); {
		switch c := text[i]; {
		case c == '\n':
			line++
			i++
		case c == ' ' || c == '\t' || c == '\r':
			i++
		case strings.HasPrefix(text[i:], "//"):
			i += span(text[i:], "\n", 0)
		case strings.HasPrefix(text[i:], "/*"):
			n := span(text[i:], "*/", 2)
			line += strings.Count(text[i:i+n], "\n")
			i += n
		case strings.IndexByte(punctuation, c) >= 0:
			out = append(out, token{text[i : i+1], line})
			i++
		case c == '"':
			n := 1 + span(text[i+1:], `"`, 1)
			out = append(out, token{strings.Trim(text[i:i+n], `"`), line})
			line += strings.Count(text[i:i+n], "\n")
			i += n
		default:
			n := strings.IndexAny(text[i:], " \t\r\n\""+punctuation)
			if n < 0 {
				n = len(text) - i
			}
			out = append(out, token{text[i : i+n], line})
			i += n
		}
	}
	return append(out, token{"", line})
}

// span is how far the end mark lies, and beyond it by extra; all of the text where it is missing.
func span(text, end string, extra int) int {
	if n := strings.Index(text, end); n >= 0 {
		return n + extra
	}
	return len(text)
}
