package projects

import (
	"errors"
	"fmt"
	"io"
	"runtime"
	"slices"
	"time"
)

// Config says what is measured.
type Config struct {
	// Folders hold instances, each folder is a set with a row of its own.
	Folders []string
	// Known is a table of best known values for all folders; empty: the file beside a
	// folder that has its name and .csv, or none.
	Known string
	// Schedules are the counts that each set is solved with: every pass of a
	// generation scheme is one. Zero: as many as Seconds allow.
	Schedules []int
	// Seconds bounds the search on each instance; zero: only Schedules do.
	Seconds float64
	// Prove is how many seconds of one core each instance has in all for the search and
	// then the proof that nothing shorter exists; zero: no proof is tried.
	Prove float64
	// Every takes only each so manieth instance by name; 1 or less: all.
	Every int
	Seed  uint64
	// Operators is how many people each job shop has, of whom every operation holds
	// one; zero: what the file says.
	Operators int
	// Islands is how many populations share the schedules of an instance and run at the
	// same time; up to 1: one. The times are then those of the wall.
	Islands int
	// Workers is how many instances are solved at once; zero: one for each processor.
	Workers int
	// Progress takes a line for each set; nil for silence.
	Progress io.Writer
	// Each is called with what came of each instance, if given, in no certain order.
	Each func(Outcome)
}

func (c *Config) check() error {
	if len(c.Schedules) == 0 {
		c.Schedules = []int{0}
	}
	if c.Workers == 0 {
		c.Workers = runtime.GOMAXPROCS(0)
	}
	c.Every = max(1, c.Every)
	switch {
	case len(c.Folders) == 0:
		return errors.New("name at least one folder of instances")
	case slices.Min(c.Schedules) < 0:
		return errors.New("the schedules are counted from 1")
	case slices.Min(c.Schedules) == 0 && c.Seconds <= 0:
		return errors.New("give --schedules, --seconds, or both")
	case min(c.Seconds, c.Prove) < 0 || max(c.Seconds, c.Prove) > 24*3600:
		return errors.New("the seconds for an instance are 0 to 86400")
	case c.Workers < 0 || c.Workers > 1024:
		return errors.New("up to 1024 instances can be solved at once")
	case c.Islands < 0 || c.Islands > 1024:
		return errors.New("an instance can have up to 1024 islands")
	case c.Operators < 0 || c.Operators > 1<<15-1:
		return fmt.Errorf("%d operators; 0 to %d are possible", c.Operators, 1<<15-1)
	}
	return nil
}

func (c *Config) time() time.Duration { return time.Duration(c.Seconds * float64(time.Second)) }

func (c *Config) say(format string, args ...any) {
	if c.Progress != nil {
		_, _ = fmt.Fprintf(c.Progress, format+"\n", args...) // nobody may be looking
	}
}
