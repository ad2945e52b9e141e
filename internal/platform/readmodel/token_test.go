package readmodel

import (
	"strings"
	"testing"

	"pgregory.net/rapid"

	"ramprow/internal/platform/fault"
)

func TestTokensOfOtherQueriesAreRefused(t *testing.T) {
	q := ListQuery{Site: "north", Model: "note", Index: "text", Prefix: "a"}
	q.PageToken = encodeToken(q, indexMember("abc", "n1"))
	for name, change := range map[string]func(*ListQuery){
		"site":      func(q *ListQuery) { q.Site = "south" },
		"model":     func(q *ListQuery) { q.Model = "job" },
		"index":     func(q *ListQuery) { q.Index = "id" },
		"prefix":    func(q *ListQuery) { q.Prefix = "ab" },
		"direction": func(q *ListQuery) { q.Descending = true },
	} {
		t.Run(name, func(t *testing.T) {
			other := q
			change(&other)
			if _, err := decodeToken(other); fault.KindOf(err) != fault.Invalid {
				t.Errorf("got %v", err)
			}
		})
	}
	larger := q
	larger.PageSize = 7 // may change from page to page
	if _, err := decodeToken(larger); err != nil {
		t.Errorf("another page size: %v", err)
	}
}

// Whatever comes as a token is either refused as Invalid or names a place
// within the query's prefix.
func FuzzPageToken(f *testing.F) {
	q := ListQuery{Site: "north", Model: "note", Index: "text", Prefix: "a"}
	f.Add(encodeToken(q, indexMember("abc", "n1")))
	f.Add(encodeToken(q, indexMember("b", "n1")))
	f.Add("")
	f.Add("AAAAAAAAAAAA")
	f.Add("%%%")
	f.Fuzz(func(t *testing.T, token string) {
		q.PageToken = token
		after, err := decodeToken(q)
		switch {
		case err != nil && fault.KindOf(err) != fault.Invalid:
			t.Errorf("the refusal is %v", err)
		case err == nil && token != "" && encodeToken(q, after) != token:
			t.Errorf("token %q was read as %q", token, after)
		case err == nil && token != "" && after[:1] != "a":
			t.Errorf("token %q leads out of the prefix to %q", token, after)
		}
	})
}

func FuzzStoredRow(f *testing.F) {
	packed, _, err := packRow(noteKey("a"), mustRow(f))
	must(f, err)
	f.Add(string(packed))
	f.Add("")
	f.Add("\x0a\x02\x0a\xff")
	f.Fuzz(func(t *testing.T, stored string) {
		index, value, err := unpackRow(stored)
		if err != nil {
			return
		}
		if !strings.Contains(stored, string(value)) {
			t.Errorf("value %q was made up", value)
		}
		for _, m := range index {
			if !strings.Contains(stored, m.name) || !strings.Contains(stored, m.value) {
				t.Errorf("index member %q was made up", m)
			}
		}
	})
}

func mustRow(t testing.TB) Row {
	t.Helper()
	row, ok := notesProjection(1).Row(&notes{texts: map[string]string{"a": "x"}}, noteKey("a"))
	if !ok {
		t.Fatal("no row")
	}
	return row
}

func TestStoredRowComesBack(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		row := mustRow(t)
		row.Index = nil
		var want []member
		for range rapid.IntRange(0, 3).Draw(r, "entries") {
			e := IndexEntry{Name: rapid.StringMatching(`[a-z]+`).Draw(r, "name"), Order: rapid.String().Draw(r, "order")}
			row.Index = append(row.Index, e)
			want = append(want, member{e.Name, indexMember(e.Order, "a")})
		}
		packed, packedIndex, err := packRow(noteKey("a"), row)
		must(t, err)
		index, value, err := unpackRow(string(packed))
		must(t, err)
		if len(index) != len(want) {
			r.Fatalf("index %q, want %q", index, want)
		}
		for i := range want {
			if index[i] != want[i] || packedIndex[i] != want[i] {
				r.Fatalf("index %q, want %q", index, want)
			}
		}
		out := newRow()
		must(t, decodeRow(string(packed), out))
		if len(value) == 0 {
			r.Fatal("the value is lost")
		}
	})
}

// Members sort like pairs of order and identifier, and give the identifier back.
func TestIndexMembersSortLikePairs(t *testing.T) {
	text := rapid.StringOfN(rapid.SampledFrom([]rune("\x00\x01ab\u00ff")), 0, 5, -1)
	rapid.Check(t, func(r *rapid.T) {
		type pair struct{ order, id string }
		a := pair{text.Draw(r, "order a"), text.Draw(r, "id a")}
		b := pair{text.Draw(r, "order b"), text.Draw(r, "id b")}
		less := a.order < b.order || a.order == b.order && a.id < b.id
		if got := indexMember(a.order, a.id) < indexMember(b.order, b.id); got != less {
			r.Fatalf("%q before %q: got %t", a, b, got)
		}
		if id, ok := memberID(indexMember(a.order, a.id)); !ok || id != a.id {
			r.Fatalf("identifier %q became %q", a.id, id)
		}
	})
}
