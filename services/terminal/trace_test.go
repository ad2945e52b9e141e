package terminal

import (
	"strings"
	"testing"
	"time"
)

func TestTraceQueryNamesTheFlagThatIsWrong(t *testing.T) {
	now := time.Date(2026, 3, 9, 8, 0, 0, 0, time.UTC)
	for want, q := range map[string]traceQuery{
		"--since: ": {since: "some day"},
		"--until: ": {until: "some day"},
		"--job and --about say the same; give one of them": {job: "17", about: "jobs/17"},
	} {
		if _, err := q.request(now); err == nil || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%+v is refused with %v; want %q first", q, err, want)
		}
	}
}

func TestFirstOfKeepsARowShort(t *testing.T) {
	for want, names := range map[string][]string{
		"": nil, "a, b": {"a", "b"}, "a, b, c": {"a", "b", "c"}, "a, b, c and 2 more": {"a", "b", "c", "d", "e"},
	} {
		if got := firstOf(names, 3); got != want {
			t.Errorf("%v is told as %q, want %q", names, got, want)
		}
	}
}
