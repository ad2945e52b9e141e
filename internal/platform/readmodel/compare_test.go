package readmodel

import (
	"context"
	"slices"
	"strings"
	"testing"

	"github.com/redis/go-redis/v9"
)

// Every kind of difference is found, and none where there is none.
func TestCompareFindsWhatRedisHoldsOtherwise(t *testing.T) {
	overServers(t, func(t *testing.T, url string) {
		log := newLog(t)
		a := newAuthor(t, log, "north")
		b := start(t, log, url, 1)
		a.put("a=one", "b=two")
		b.settled("north", a.put("b=", "c=three"))
		b.stop()
		ctx, client := context.Background(), b.store.client
		ks := b.projector.sites["north"].keys
		compare := func() string {
			found, err := b.projector.Compare(ctx, "north")
			must(t, err)
			return strings.Join(found, "; ")
		}
		if found := compare(); found != "" {
			t.Fatalf("it differs, and nobody touched it: %s", found)
		}
		row := ks.row(noteKey("a"))
		value, err := client.Get(ctx, row).Result()
		must(t, err)
		lists, err := client.Keys(ctx, ks.prefix+"index:*").Result()
		must(t, err)
		slices.Sort(lists)
		for _, c := range []struct {
			spoil, mend func() error
			want        string
		}{
			{func() error { return client.Del(ctx, row).Err() }, func() error { return client.Set(ctx, row, value, 0).Err() }, "row:note:a is missing"},
			{func() error { return client.Set(ctx, row, "x", 0).Err() }, func() error { return client.Set(ctx, row, value, 0).Err() }, "row:note:a is another one"},
			{func() error { return client.ZAdd(ctx, lists[0], redis.Z{Member: "x"}).Err() }, func() error { return client.ZRem(ctx, lists[0], "x").Err() }, "lists"},
			{func() error { return client.Set(ctx, ks.row(noteKey("z")), value, 0).Err() }, func() error { return client.Del(ctx, ks.row(noteKey("z"))).Err() }, "row:note:z is there"},
		} {
			must(t, c.spoil())
			if found := compare(); !strings.Contains(found, c.want) {
				t.Errorf("found %q, want %q", found, c.want)
			}
			must(t, c.mend())
		}
		a.put("a=four") // nobody projects it
		if _, err := b.projector.Compare(ctx, "north"); !StandsElsewhere(err) {
			t.Errorf("Redis is behind, and it says %v", err)
		}
	})
}
