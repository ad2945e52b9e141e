package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"ramprow/services/ramprow/faults"
)

// natsServerVariable names the broker's program, as for the tests.
const natsServerVariable = "RAMPROW_NATS_SERVER"

func faultsCommand() *cobra.Command {
	var c faults.Config
	full := false
	command := &cobra.Command{
		Use:     "faults",
		Short:   "Kill, stop and restart real processes while people work, and check the logs they leave",
		GroupID: groupCare,
		Long: "Runs the roles, some of them twice, over a NATS and a Redis server of their own in a temporary\n" +
			"folder, lets callers take cars from intake to payment, and kills, stops and restarts what runs\n" +
			"at moments that the seed draws, counted in acknowledged commands. Then it looks for every\n" +
			"acknowledged command in the logs, checks every rule, and compares the read models with the\n" +
			"logs. It needs nats-server (" + natsServerVariable + " or the path) and redis-server.",
		Example: "  ramprow faults --seed 7\n  ramprow faults --seed 1 --faults 200 --commands 20000\n  ramprow faults --brokers 3 --faults 30 --commands 3000",
		Args:    cobra.NoArgs,
	}
	flags := command.Flags()
	flags.Uint64Var(&c.Seed, "seed", 1, "what the faults and the people's wishes are drawn from")
	flags.IntVar(&c.Faults, "faults", 20, "how many")
	flags.IntVar(&c.Commands, "commands", 2000, "how many commands are acknowledged before it ends")
	flags.IntVar(&c.Brokers, "brokers", 1, "1, or 3 as a cluster")
	flags.IntVar(&c.Sites, "sites", 2, "workshops")
	flags.IntVar(&c.Callers, "callers", 4, "people at each workshop")
	flags.IntVar(&c.Cars, "cars", 2, "cars that each of them has in work")
	flags.StringVar(&c.Dir, "dir", "", "folder for logs of the processes and streams, kept afterwards; a temporary one if not given")
	flags.BoolVar(&full, "full-disk", false, "instead, let the broker's disk run full and make room again; needs the right to mount")
	command.RunE = func(command *cobra.Command, _ []string) error {
		ctx, stop := signal.NotifyContext(command.Context(), syscall.SIGINT, syscall.SIGTERM)
		defer stop()
		var err error
		if c.Programs, err = faultPrograms(); err != nil {
			return err
		}
		return runFaults(ctx, command.OutOrStdout(), c, full)
	}
	return command
}

// faultPrograms finds this program and the two servers.
func faultPrograms() (p faults.Programs, err error) {
	if p.Ramprow, err = os.Executable(); err != nil {
		return p, fmt.Errorf("find this program: %w", err)
	}
	if p.NATS = os.Getenv(natsServerVariable); p.NATS == "" {
		if p.NATS, err = exec.LookPath("nats-server"); err != nil {
			return p, fmt.Errorf("install nats-server, or name it in %s: %w", natsServerVariable, err)
		}
	}
	if p.Redis, err = exec.LookPath("redis-server"); err != nil {
		return p, fmt.Errorf("install redis-server: %w", err)
	}
	return p, nil
}

func faultsReport(ctx context.Context, c faults.Config, full bool) (*faults.Report, error) {
	if !full {
		return faults.Run(ctx, c)
	}
	report, err := faults.FullDisk(ctx, c)
	if report == nil {
		return nil, err
	}
	return report.Report, err
}

func runFaults(ctx context.Context, out io.Writer, c faults.Config, full bool) (err error) {
	c.Began, c.Progress = time.Now(), out
	if c.Dir == "" {
		if c.Dir, err = os.MkdirTemp("", "ramprow-faults-"); err != nil {
			return err
		}
		defer func() {
			if err == nil {
				err = os.RemoveAll(c.Dir)
			}
		}()
	}
	if c.Dir, err = filepath.Abs(c.Dir); err != nil {
		return err
	}
	report, err := faultsReport(ctx, c, full)
	if report != nil {
		err = errors.Join(err, report.Write(out))
	}
	if err == nil && len(report.Violations) > 0 {
		err = fmt.Errorf("seed %d breaks a rule; what the processes wrote is in %s", c.Seed, c.Dir)
	}
	return err
}
