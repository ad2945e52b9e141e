package bench

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"runtime/pprof"
	"slices"
	"time"
)

const (
	// blockRate records one in so many nanoseconds of waiting.
	blockRate = int(10 * time.Microsecond)
	// profiledFor is how much longer than one leg is looked at: Go takes a hundred
	// samples a second.
	profiledFor = 4
	// mutexFraction records one in so many times that a lock was waited for.
	mutexFraction = 10
)

// profile writes where time and memory of commands go: of the largest crowd at
// one site, as <place>-cpu.prof and so on.
func (t *track) profile(c Config, place string) error {
	c.say("profiles to %s", c.Profiles)
	if err := os.MkdirAll(c.Profiles, 0o750); err != nil {
		return fmt.Errorf("make the folder of profiles: %w", err)
	}
	name := func(kind string) string { return c.profileName(place, kind) }
	runtime.SetBlockProfileRate(blockRate)
	defer runtime.SetBlockProfileRate(0)
	defer runtime.SetMutexProfileFraction(runtime.SetMutexProfileFraction(mutexFraction))
	n := crowd{slices.Max(c.Callers), 1}
	if err := profileCPU(name("cpu"), func() error {
		_, err := t.command(t.shelves[0].ctx, n, profiledFor*c.Duration)
		return err
	}); err != nil {
		return err
	}
	for _, kind := range []string{"allocs", "block", "mutex"} {
		if err := withFile(name(kind), func(f *os.File) error { return pprof.Lookup(kind).WriteTo(f, 0) }); err != nil {
			return err
		}
	}
	return t.shelves[0].settle(context.WithoutCancel(t.shelves[0].ctx))
}

func (c Config) profileName(place, kind string) string {
	return filepath.Join(c.Profiles, place+"-"+kind+".prof")
}

// profileCPU writes a profile of what is done meanwhile.
func profileCPU(name string, do func() error) error {
	return withFile(name, func(f *os.File) error {
		if err := pprof.StartCPUProfile(f); err != nil {
			return err
		}
		defer pprof.StopCPUProfile()
		return do()
	})
}

func withFile(name string, fill func(*os.File) error) error {
	f, err := os.Create(name) //nolint:gosec // the caller's own choice
	if err != nil {
		return fmt.Errorf("make a profile: %w", err)
	}
	return errors.Join(fill(f), f.Close())
}
