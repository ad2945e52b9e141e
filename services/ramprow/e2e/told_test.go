package e2e_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"sync"
	"testing"

	"ramprow/internal/platform/telemetry"
	"ramprow/services/ramprow/stack"
	"ramprow/services/ramprow/story"
)

var errEnough = errors.New("enough of the story")

// told is what the story left in the folder of a workshop that was closed then.
type told struct {
	dir    string
	ending story.Ending // where it was told to its end
}

// To tell the story takes seconds, and most tests only want what it leaves: it is
// told once to each of these places, and a test goes on from a copy.
var (
	// middle has a job open in every room: it is jobs/1.
	middle = sync.OnceValues(func() (told, error) { return tellUntil(inTheMiddle) })
	// joint has jobs/1 before its first joint is tightened.
	joint = sync.OnceValues(func() (told, error) { return tellUntil(atTheFirstJoint) })
	// end has jobs/1 paid.
	end = sync.OnceValues(func() (told, error) { return tellUntil(nil) })
)

func inTheMiddle(c *story.Config, stop func(context.Context) error) { c.Halfway = stop }

func atTheFirstJoint(c *story.Config, stop func(context.Context) error) { c.Tightening = stop }

// tellUntil tells the story up to a place in it; nil is its end.
func tellUntil(place func(c *story.Config, stop func(context.Context) error)) (left told, err error) {
	if left.dir, err = os.MkdirTemp("", "ramprow-e2e-"); err != nil {
		return left, err
	}
	afterAll(func() { _ = os.RemoveAll(left.dir) })
	w, end, err := serve(context.Background(), telemetry.Config{}, stack.WorkshopConfig{Dir: left.dir})
	if err != nil {
		return left, err
	}
	defer func() { err = errors.Join(err, end()) }()
	clients, err := w.dial()
	if err != nil {
		return left, err
	}
	defer func() { err = errors.Join(err, clients.Close()) }()
	c := w.story(clients)
	if place == nil {
		left.ending, err = story.Tell(context.Background(), c)
		return left, err
	}
	place(&c, func(context.Context) error { return errEnough })
	if _, err = story.Tell(context.Background(), c); !errors.Is(err, errEnough) {
		return left, fmt.Errorf("the story went another way: %w", err)
	}
	return left, nil
}

// folder gives a copy of what the story left at a place of it.
func folder(t *testing.T, place func() (told, error)) (dir string, ending story.Ending) {
	t.Helper()
	left, err := place()
	if err != nil {
		t.Fatal(err)
	}
	dir = t.TempDir()
	if err := os.CopyFS(dir, os.DirFS(left.dir)); err != nil {
		t.Fatal(err)
	}
	// A copied file is open to others, which a key must not be.
	if err := os.Chmod(stack.KeyFile(dir), 0o600); err != nil {
		t.Fatal(err)
	}
	return dir, left.ending
}

// openTold is openWorkshop at a place of the story.
func openTold(t *testing.T, place func() (told, error)) (*workshop, story.Ending) {
	t.Helper()
	dir, ending := folder(t, place)
	return openWorkshop(t, dir, nil), ending
}
