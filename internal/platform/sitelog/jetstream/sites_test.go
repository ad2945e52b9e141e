package jetstream_test

import (
	"context"
	"errors"
	"testing"

	"ramprow/internal/platform/sitelog"
)

// TestSitesAreSharedAndBegunAnew asks twice at once, lets one go, and asks again
// after the last has gone: everybody gets every site once, old ones and new.
func TestSitesAreSharedAndBegunAnew(t *testing.T) {
	log := connect(t, start(t, t.TempDir()))
	write := func(site string) {
		t.Helper()
		if _, err := log.Append(t.Context(), sitelog.Subject{Service: "job", Site: site}, 0, sitelog.Message{Data: []byte("x")}); err != nil {
			t.Fatal(err)
		}
	}
	ask := func() (sites chan string, leave func()) {
		ctx, cancel := context.WithCancel(t.Context())
		sites, ended := make(chan string, 10), make(chan error, 1)
		go func() {
			ended <- log.Sites(ctx, "job", func(site string) error {
				sites <- site
				return nil
			})
		}()
		return sites, func() {
			cancel()
			if err := <-ended; !errors.Is(err, context.Canceled) {
				t.Errorf("it ended with %v", err)
			}
		}
	}
	expect := func(from chan string, want string) {
		t.Helper()
		if got := <-from; got != want {
			t.Errorf("got %s, want %s", got, want)
		}
	}
	write("north")
	a, leaveA := ask()
	expect(a, "north")
	b, leaveB := ask()
	expect(b, "north")
	leaveA()
	write("south")
	expect(b, "south")
	leaveB()
	c, leaveC := ask()
	defer leaveC()
	both := map[string]bool{<-c: true, <-c: true}
	if !both["north"] || !both["south"] {
		t.Errorf("asked anew, it gave %v", both)
	}
	if len(a)+len(b)+len(c) > 0 {
		t.Error("a site was given twice")
	}
}
