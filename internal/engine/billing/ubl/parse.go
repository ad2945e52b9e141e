package ubl

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strings"
)

// Bounds of what is read: deeper or larger is no invoice.
const (
	maxDepth    = 20
	maxElements = 500_000
	// MaxBytes is the largest document that Read takes.
	MaxBytes = 64 << 20
)

// ErrNoDocument says that a file is no UBL invoice or credit note.
var ErrNoDocument = errors.New("this is no UBL 2.1 invoice or credit note")

// prefixes gives each namespace the prefix that paths here use.
var prefixes = map[string]string{nsAggregate: "cac:", nsBasic: "cbc:", nsInvoice: "", nsCreditNote: ""}

// parse reads the tree of elements. A document type is refused: it could name
// entities that fill the memory or fetch other files.
func parse(data []byte) (*node, error) {
	if len(data) > MaxBytes {
		return nil, fmt.Errorf("the file has %d bytes and may have %d", len(data), MaxBytes)
	}
	decoder := xml.NewDecoder(bytes.NewReader(data))
	decoder.Entity = map[string]string{}
	var root *node
	var open []*node
	elements := 0
	for {
		token, err := decoder.Token()
		switch {
		case errors.Is(err, io.EOF) && root != nil && len(open) == 0:
			return root, nil
		case err != nil:
			return nil, fmt.Errorf("%w: %w", ErrNoDocument, err)
		}
		switch t := token.(type) {
		case xml.Directive:
			return nil, fmt.Errorf("%w: it has a document type declaration", ErrNoDocument)
		case xml.StartElement:
			if elements++; elements > maxElements || len(open) >= maxDepth || root != nil && len(open) == 0 {
				return nil, fmt.Errorf("%w: too many elements, or too deep", ErrNoDocument)
			}
			n := element(t)
			if len(open) == 0 {
				root = n
			} else {
				parent := open[len(open)-1]
				parent.kids = append(parent.kids, n)
			}
			open = append(open, n)
		case xml.EndElement:
			last := open[len(open)-1]
			last.text, last.raw = strings.TrimSpace(string(last.raw)), nil
			open = open[:len(open)-1]
		case xml.CharData:
			if len(open) > 0 {
				last := open[len(open)-1]
				last.raw = append(last.raw, t...)
			}
		}
	}
}

// element gives the node of a start tag, named by the usual prefix.
func element(t xml.StartElement) *node {
	prefix, ok := prefixes[t.Name.Space]
	if !ok {
		prefix = "{" + t.Name.Space + "}"
	}
	n := &node{name: prefix + t.Name.Local}
	for _, a := range t.Attr {
		if a.Name.Space == "" && a.Name.Local != "xmlns" {
			n.attrs = append(n.attrs, attr{a.Name.Local, a.Value})
		}
	}
	return n
}

// find gives the first element at a path, as in cac:Party/cbc:EndpointID, and
// marks the way there as read.
func (n *node) find(path string) *node {
	at := n
	for name := range strings.SplitSeq(path, "/") {
		next := at.first(name)
		if next == nil {
			return nil
		}
		at = next
	}
	return at
}

func (n *node) first(name string) *node {
	for _, kid := range n.kids {
		if kid.name == name {
			kid.seen = true
			return kid
		}
	}
	return nil
}

// all gives every element of a name and marks them as read.
func (n *node) all(name string) []*node {
	var list []*node
	for _, kid := range n.kids {
		if kid.name == name {
			kid.seen = true
			list = append(list, kid)
		}
	}
	return list
}

// value is the text at a path.
func (n *node) value(path string) string {
	if at := n.find(path); at != nil {
		return at.text
	}
	return ""
}

func (n *node) attr(name string) string {
	for _, a := range n.attrs {
		if a.name == name {
			return a.value
		}
	}
	return ""
}
