package demo

import (
	"testing"
	"time"
)

var noDate time.Time

func date(t *testing.T, day string) time.Time {
	t.Helper()
	at, err := time.Parse(time.DateOnly, day)
	if err != nil {
		t.Fatal(err)
	}
	return at
}
