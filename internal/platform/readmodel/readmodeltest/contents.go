package readmodeltest

import (
	"context"
	"strings"

	"github.com/redis/go-redis/v9"
)

// Contents gives every key and every value that a Redis server holds, one after the other.
func Contents(ctx context.Context, t T, url string) string {
	t.Helper()
	options, err := redis.ParseURL(url)
	if err != nil {
		t.Fatalf("%v", err)
	}
	client := redis.NewClient(options)
	defer func() { _ = client.Close() }() // the test has read what it wanted
	var all strings.Builder
	keys := client.Scan(ctx, 0, "", 0).Iterator()
	for keys.Next(ctx) {
		key := keys.Val()
		kind, err := client.Type(ctx, key).Result()
		if err != nil {
			t.Fatalf("%v", err)
		}
		var values any
		switch kind {
		case "string":
			values, err = client.Get(ctx, key).Result()
		case "hash":
			values, err = client.HGetAll(ctx, key).Result()
		case "zset":
			values, err = client.ZRange(ctx, key, 0, -1).Result()
		case "set":
			values, err = client.SMembers(ctx, key).Result()
		default:
			t.Fatalf("%s is a %s", key, kind)
		}
		if err != nil {
			t.Fatalf("%v", err)
		}
		all.WriteString(key + " " + text(values) + "\n")
	}
	if err := keys.Err(); err != nil {
		t.Fatalf("%v", err)
	}
	return all.String()
}

func text(values any) string {
	switch v := values.(type) {
	case string:
		return v
	case []string:
		return strings.Join(v, " ")
	case map[string]string:
		var all strings.Builder
		for key, value := range v {
			all.WriteString(key + " " + value + " ")
		}
		return all.String()
	}
	return ""
}
