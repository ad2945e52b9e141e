package readmodel

import (
	"fmt"
	"strings"
)

// keyspace names the keys of one site's rows in one version. The braces make a
// Redis cluster keep all of them in one slot, where MULTI and scripts may touch
// them together.
type keyspace struct{ prefix string }

func newKeyspace(service, site string, version int) keyspace {
	return keyspace{prefix: fmt.Sprintf("rm:{%s:%s:v%d}:", service, site, version)}
}

func (k keyspace) position() string { return k.prefix + "position" }

// rowsOf is what a row's identifier is appended to. Model names hold no colon,
// so no two rows share a key.
func (k keyspace) rowsOf(model string) string { return k.prefix + "row:" + model + ":" }

func (k keyspace) row(key Key) string { return k.rowsOf(key.Model) + key.ID }

func (k keyspace) index(model, name string) string {
	return k.prefix + "index:" + model + ":" + name
}

// pattern matches every key of the keyspace in SCAN.
func (k keyspace) pattern() string {
	return strings.NewReplacer(`\`, `\\`, `*`, `\*`, `?`, `\?`, `[`, `\[`).Replace(k.prefix) + "*"
}

// An index member is Order and identifier in one string that sorts like the
// pair: NUL in Order becomes NUL 0xFF, and NUL 0x01 ends it. 0xFF never occurs
// in UTF-8, so the end cannot be mistaken.
const (
	orderEnd   = "\x00\x01"
	escapedNUL = "\x00\xff"
)

func indexMember(order, id string) string { return escapeOrder(order) + orderEnd + id }

func escapeOrder(order string) string { return strings.ReplaceAll(order, "\x00", escapedNUL) }

// memberID gives the identifier in an index member; false if it is none.
func memberID(member string) (string, bool) {
	_, id, ok := strings.Cut(member, orderEnd)
	return id, ok
}

// prefixEnd gives the smallest string greater than all that begin with prefix;
// false if there is no such string.
func prefixEnd(prefix string) (string, bool) {
	b := []byte(prefix)
	for i := len(b) - 1; i >= 0; i-- {
		if b[i] < 0xff {
			b[i]++
			return string(b[:i+1]), true
		}
	}
	return "", false
}
