package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"ramprow/services/ramprow/bench"
)

// pagesFlags is what `bench pages` is told.
type pagesFlags struct {
	pages  bench.PagesConfig
	output benchOutput
}

func benchPagesCommand() *cobra.Command {
	var f pagesFlags
	command := &cobra.Command{
		Use:   "pages",
		Short: "Keep many live pages open while an invented day goes by, and measure what that costs and how late they are",
		Long: "Runs a whole workshop with a demo day as a process of its own, signs people in over several roles by\n" +
			"real HTTP, keeps their pages open with their streams of events, and asks for each page anew whenever\n" +
			"it is told to, as a browser does. Commands go out meanwhile, and their way to each page is timed.\n" +
			"Linux tells the process's memory and processor time; elsewhere the command refuses.",
		Example: "  ramprow bench pages\n  ramprow bench pages --pages 50 --warm 30s --duration 20s --output json",
		Args:    cobra.NoArgs,
		RunE: func(command *cobra.Command, _ []string) error {
			ctx, stop := signal.NotifyContext(command.Context(), syscall.SIGINT, syscall.SIGTERM)
			defer stop()
			return f.run(ctx, command.OutOrStdout(), command.ErrOrStderr())
		},
	}
	flags := command.Flags()
	flags.IntVar(&f.pages.Pages, "pages", 200, "pages that are open at once")
	flags.Float64Var(&f.pages.Speed, "speed", 60, "how many times faster than real time the day goes")
	flags.DurationVar(&f.pages.Warm, "warm", 60*time.Second, "time for the day to fill before anything is measured")
	flags.DurationVar(&f.pages.Alone, "alone", 20*time.Second, "time to measure the workshop without pages")
	flags.DurationVar(&f.pages.Duration, "duration", 60*time.Second, "time to measure it with all pages open")
	f.output.flag(command)
	return command
}

func (f *pagesFlags) run(ctx context.Context, out, progress io.Writer) (err error) {
	if err := f.output.known(); err != nil {
		return err
	}
	f.pages.Progress = progress
	if f.pages.Program, err = os.Executable(); err != nil {
		return fmt.Errorf("find this program: %w", err)
	}
	report, err := bench.RunPages(ctx, f.pages)
	if err != nil {
		return err
	}
	return f.output.tell(out, report, report.WriteTable)
}
