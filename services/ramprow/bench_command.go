package main

import (
	"context"
	"errors"
	"io"
	"os"
	"os/signal"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"ramprow/internal/platform/config"
	"ramprow/internal/platform/lifecycle"
	"ramprow/internal/platform/telemetry"
	"ramprow/services/ramprow/bench"
	"ramprow/services/ramprow/stack"
)

// benchFlags is what the command is told beside the benchmark's own settings.
type benchFlags struct {
	bench    bench.Config
	output   benchOutput
	quick    bool
	embedded bool
	outside  bool
	programs bench.Programs
	broker   config.Broker
	redis    config.ReadModels
	better   config.Improvement
}

func benchCommand() *cobra.Command {
	f := benchFlags{better: config.Improvement{For: config.DefaultImprovement}}
	command := &cobra.Command{
		Use:     "bench",
		Short:   "Measure commands to disk, diagnosis to bay, and where the time goes",
		GroupID: groupCare,
		Long: "Measures a workshop in a temporary folder on this machine, beside what the broker and the\n" +
			"bare call can do in the same minute: with an embedded broker, and with one outside if\n" +
			"--nats-server says which program to start, or --outside that --nats-url is to be used.\n" +
			"A log forgets nothing: with --outside the sites of the run stay on that broker, so give\n" +
			"it one that is there for measuring.",
		Example: "  ramprow bench --quick\n  ramprow bench --callers 1,64 --sites 1,8 --duration 3s --output json\n" +
			"  ramprow bench --nats-server /usr/local/bin/nats-server --redis-server /usr/bin/redis-server\n" +
			"  ramprow bench --embedded=false --outside --nats-url nats://127.0.0.1:4222 --redis-url redis://127.0.0.1:6379/0",
		Args: cobra.NoArgs,
	}
	command.AddCommand(benchDiagnosisCommand())
	flags := command.Flags()
	flags.IntSliceVar(&f.bench.Callers, "callers", []int{1, 16, 64, 256}, "numbers of callers at once")
	flags.IntSliceVar(&f.bench.Sites, "sites", []int{1, 8}, "numbers of sites that share the callers")
	flags.DurationVar(&f.bench.Duration, "duration", time.Second, "time of each part of a round at one number of callers")
	flags.IntVar(&f.bench.Rounds, "rounds", 3, "rounds, whose median is told")
	flags.IntVar(&f.bench.Jobs, "jobs", 200, "jobs from diagnosis to bay; 0 leaves it out")
	flags.BoolVar(&f.quick, "quick", false, "some seconds in all: few callers, one site, one short round, few jobs")
	flags.StringVar(&f.bench.Profiles, "profiles", "", "folder for profiles of the commands; keep it out of a repository")
	f.output.flag(command)
	flags.BoolVar(&f.embedded, "embedded", true, "measure with the embedded broker")
	flags.BoolVar(&f.outside, "outside", false, "measure with the NATS of --nats-url too, and the Redis of --redis-url if that is given")
	flags.StringVar(&f.programs.NATS, "nats-server", os.Getenv("RAMPROW_NATS_SERVER"), "nats-server to start and measure too (RAMPROW_NATS_SERVER)")
	flags.StringVar(&f.programs.Redis, "redis-server", os.Getenv("RAMPROW_REDIS_SERVER"), "redis-server to start beside it (RAMPROW_REDIS_SERVER); none: the embedded one")
	unread := bindSections(command, &f.broker, &f.redis, &f.better)
	command.RunE = func(command *cobra.Command, _ []string) error {
		if err := f.complete(unread, command.Flags().Changed); err != nil {
			return err
		}
		ctx, stop := signal.NotifyContext(command.Context(), syscall.SIGINT, syscall.SIGTERM)
		defer stop()
		return f.run(ctx, command.OutOrStdout(), command.ErrOrStderr())
	}
	command.AddCommand(
		benchScheduleCommand(), benchHoldsCommand(), benchPagesCommand(), benchBaysCommand(), benchMonthCommand(), benchStockCommand(), benchReadingsCommand(),
	)
	return command
}

// complete turns flags into what is measured and where.
func (f *benchFlags) complete(unread error, changed func(string) bool) error {
	if err := f.output.known(); err != nil {
		return err
	}
	if f.quick {
		short := func(flag string, shorten func(*bench.Config)) {
			if !changed(flag) {
				shorten(&f.bench)
			}
		}
		short("callers", func(c *bench.Config) { c.Callers = []int{1, 64} })
		short("sites", func(c *bench.Config) { c.Sites = []int{1} })
		short("duration", func(c *bench.Config) { c.Duration = 500 * time.Millisecond })
		short("rounds", func(c *bench.Config) { c.Rounds = 1 })
		short("jobs", func(c *bench.Config) { c.Jobs = 20 })
	}
	if f.embedded {
		f.bench.Places = append(f.bench.Places, bench.Place{Name: bench.Embedded})
	}
	if f.programs.NATS != "" {
		f.bench.Places = append(f.bench.Places, bench.Place{Name: "own process", Backend: f.programs.Backend})
	}
	if f.outside {
		if err := f.checkOutside(unread); err != nil {
			return err
		}
		f.bench.Places = append(f.bench.Places, bench.Place{Name: "outside", Backend: f.connect})
	}
	if err := config.Validate(&f.better); err != nil {
		return err
	}
	for i := range f.bench.Places {
		f.bench.Places[i].Improve = f.better.For
	}
	if len(f.bench.Places) == 0 {
		return errors.New("nothing is left to measure; give --outside or --nats-server, or leave --embedded as it is")
	}
	return nil
}

func (f *benchFlags) checkOutside(unread error) error {
	if unread != nil {
		return unread
	}
	if f.redis.URL == "" {
		return config.Validate(&f.broker)
	}
	return config.Validate(&f.broker, &f.redis)
}

// connect uses the servers that run by themselves.
func (f *benchFlags) connect(_ string, t *telemetry.Telemetry, closers *lifecycle.Closers) (*stack.Backend, error) {
	if f.redis.URL == "" {
		return stack.OutsideBroker(f.broker, t, closers)
	}
	return stack.Outside(f.broker, f.redis, t, closers)
}

func (f *benchFlags) run(ctx context.Context, out, progress io.Writer) error {
	f.bench.Progress = progress
	report, err := bench.Run(ctx, f.bench)
	if err != nil {
		return err
	}
	return f.output.tell(out, report, report.WriteTable)
}
