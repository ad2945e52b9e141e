package ubl

import (
	"bytes"
	"encoding/xml"
	"strings"
)

// The namespaces of UBL 2.1.
const (
	nsInvoice    = "urn:oasis:names:specification:ubl:schema:xsd:Invoice-2"
	nsCreditNote = "urn:oasis:names:specification:ubl:schema:xsd:CreditNote-2" //nolint:gosec // a namespace, no credential
	nsAggregate  = "urn:oasis:names:specification:ubl:schema:xsd:CommonAggregateComponents-2"
	nsBasic      = "urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2"
)

// node is an element: a name with its usual prefix, and text or children.
type node struct {
	name  string
	text  string
	attrs []attr
	kids  []*node
	seen  bool   // read into the model
	raw   []byte // text while it is being read
}

type attr struct{ name, value string }

// add appends an element with text, unless there is none.
func (n *node) add(name, text string, attrs ...attr) {
	if text = strings.TrimSpace(text); text == "" {
		return
	}
	kid := &node{name: name, text: text}
	for _, a := range attrs {
		if a.value != "" {
			kid.attrs = append(kid.attrs, a)
		}
	}
	n.kids = append(n.kids, kid)
}

// group appends an element for others; render leaves it out if it stays empty.
func (n *node) group(name string) *node {
	kid := &node{name: name}
	n.kids = append(n.kids, kid)
	return kid
}

func (n *node) empty() bool {
	if n.text != "" {
		return false
	}
	for _, kid := range n.kids {
		if !kid.empty() {
			return false
		}
	}
	return true
}

// render writes the element, indented by its depth.
func (n *node) render(b *bytes.Buffer, depth int) {
	if n.empty() {
		return
	}
	indent := strings.Repeat("  ", depth)
	b.WriteString(indent + "<" + n.name)
	for _, a := range n.attrs {
		b.WriteString(" " + a.name + `="`)
		escape(b, a.value)
		b.WriteString(`"`)
	}
	b.WriteString(">")
	if n.text != "" {
		escape(b, n.text)
	} else {
		b.WriteString("\n")
		for _, kid := range n.kids {
			kid.render(b, depth+1)
		}
		b.WriteString(indent)
	}
	b.WriteString("</" + n.name + ">\n")
}

// escape cannot fail: a buffer takes everything.
func escape(b *bytes.Buffer, text string) { _ = xml.EscapeText(b, []byte(text)) }
