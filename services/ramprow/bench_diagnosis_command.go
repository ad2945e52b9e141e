package main

import (
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"ramprow/services/ramprow/networks"
)

func benchDiagnosisCommand() *cobra.Command {
	var c networks.Config
	var output benchOutput
	command := &cobra.Command{
		Use:   "diagnosis PATH",
		Short: "Answer questions on published Bayesian networks exactly",
		Long: "Reads a network in the Bayesian Interchange Format, or every *.bif file of a folder, and\n" +
			"gives exact posteriors with the width, time and memory that they took. Where an exact\n" +
			"answer needs more memory than --memory, it is refused with the width. What neither bears\n" +
			"on the evidence nor on the queries is left out.",
		Example: "  ramprow bench diagnosis asia.bif --evidence asia=yes --evidence dysp=yes --query lung\n" +
			"  ramprow bench diagnosis networks/ --check\n  ramprow bench diagnosis big.bif --query A --memory 4000 --output json",
		Args: cobra.ExactArgs(1),
		RunE: func(command *cobra.Command, args []string) error {
			c.Path = args[0]
			return runBenchDiagnosis(command.OutOrStdout(), c, output)
		},
	}
	flags := command.Flags()
	flags.StringSliceVar(&c.Evidence, "evidence", nil, "VARIABLE=STATE that is observed; repeat it, or separate by commas")
	flags.StringSliceVar(&c.Queries, "query", nil, "variable whose posterior is wanted; repeat it; none: all")
	flags.Float64Var(&c.Megabytes, "memory", 1024, "megabytes that the tables of one answer may take")
	flags.BoolVar(&c.Check, "check", false, "multiply out the whole joint distribution too, where it is small enough, and compare")
	output.flag(command)
	return command
}

func runBenchDiagnosis(out io.Writer, c networks.Config, output benchOutput) error {
	if err := output.known(); err != nil {
		return err
	}
	if !(c.Megabytes > 0) {
		return errors.New("--memory is in megabytes and above zero")
	}
	results, err := networks.Run(c)
	if err != nil {
		return err
	}
	err = output.tell(out, results, func(w io.Writer) error {
		return networks.Tell(w, results, len(c.Evidence)+len(c.Queries) > 0)
	})
	if err == nil && len(results) == 1 && results[0].Refused != "" {
		return fmt.Errorf("%s: %s", results[0].File, results[0].Refused)
	}
	return err
}
