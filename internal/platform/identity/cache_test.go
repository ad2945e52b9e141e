package identity

import (
	"crypto/sha256"
	"slices"
	"strconv"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// The model is a slice, most recently used last: slow and obviously right.
func TestCacheIsBoundedAndForgetsTheLeastRecentlyUsed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		type entry struct {
			token   int
			expires time.Time
		}
		size := rapid.IntRange(1, 5).Draw(t, "size")
		c, model, now := newCache(size), []entry(nil), time.Unix(0, 0)
		at := func(token int) int {
			return slices.IndexFunc(model, func(e entry) bool { return e.token == token })
		}
		for range rapid.IntRange(1, 60).Draw(t, "steps") {
			now = now.Add(time.Duration(rapid.IntRange(0, 2).Draw(t, "passed")))
			token := rapid.IntRange(0, 7).Draw(t, "token")
			key := sha256.Sum256([]byte(strconv.Itoa(token)))
			i := at(token)
			if rapid.Bool().Draw(t, "put") {
				expires := now.Add(time.Duration(rapid.IntRange(1, 9).Draw(t, "life")))
				c.put(key, Identity{Person: strconv.Itoa(token)}, expires)
				if i < 0 {
					model = append(model[max(0, len(model)-size+1):], entry{token, expires})
				}
				continue
			}
			want := i >= 0 && now.Before(model[i].expires)
			got, ok := c.get(key, now)
			if ok != want || ok && got.Person != strconv.Itoa(token) {
				t.Fatalf("token %d: got %+v, %v; want %v", token, got, ok, want)
			}
			if i >= 0 {
				e := model[i]
				model = slices.Delete(model, i, i+1)
				if want {
					model = append(model, e)
				}
			}
			if len(c.byKey) != len(model) || c.recent.Len() != len(model) {
				t.Fatalf("%d entries, want %d", len(c.byKey), len(model))
			}
		}
	})
}
