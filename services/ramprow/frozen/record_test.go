package frozen_test

import (
	"context"
	"flag"
	"io"
	"log/slog"
	"os"
	"testing"
	"time"

	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/telemetry"
	"ramprow/services/ramprow/simulate"
	"ramprow/services/ramprow/stack"
	"ramprow/services/ramprow/story"
	"ramprow/services/terminal"
)

var (
	record = flag.String("record", "", "record one more log under this name: the demo's story, or with -seed a simulated day")
	seed   = flag.Uint64("seed", 0, "the simulated day to record")
)

// Recording is no test; it is done once for each log, by hand.
func TestRecord(t *testing.T) {
	if *record == "" {
		t.Skip("nothing is to be recorded")
	}
	name := "testdata/" + *record
	if _, err := os.Stat(name + logEnd); err == nil {
		t.Fatalf("%s is there and stays as it is; choose another name", name+logEnd)
	}
	var records []sitelog.Record
	if *seed > 0 {
		var err error
		if records, err = (simulate.Day{Seed: *seed, Steps: simulate.StepsOf(*seed)}).Records(); err != nil {
			t.Fatal(err)
		}
	} else {
		records = tellStory(t)
	}
	var all []rows
	for _, fold := range foldings {
		all = append(all, fold(t, records))
	}
	writePacked(t, name+logEnd, records)
	writePacked(t, name+rowsEnd, all)
}

// tellStory plays the demo's story in a workshop of its own and gives its logs.
func tellStory(t *testing.T) []sitelog.Record {
	t.Helper()
	const site = "farrowby"
	tel, err := telemetry.Start(t.Context(), telemetry.Config{
		Service: "ramprow-frozen", Log: io.Discard, LogLevel: slog.LevelError, Getenv: func(string) string { return "" },
	})
	if err != nil {
		t.Fatal(err)
	}
	w, err := stack.OpenWorkshop(t.Context(), stack.WorkshopConfig{Dir: t.TempDir(), Telemetry: tel})
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.WithoutCancel(t.Context()))
	ended := make(chan error, 1)
	go func() { ended <- w.Run(ctx) }()
	defer func() {
		stop()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	}()
	clients, err := terminal.Dial(terminal.DialConfig{Addresses: w.Addresses(), Telemetry: tel})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = clients.Close() }()
	_, err = story.Tell(t.Context(), story.Config{
		Clients: clients, Out: io.Discard, Now: time.Now,
		Token: func(person string, role identity.Role) (string, error) { return w.Token(site, person, time.Hour, role) },
	})
	if err != nil {
		t.Fatal(err)
	}
	var records []sitelog.Record
	for _, service := range terminal.RoleNames() {
		err := w.Backend.Log.Read(t.Context(), sitelog.Subject{Service: service, Site: site}, 0, func(r sitelog.Record) error {
			records = append(records, r)
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	return records
}
