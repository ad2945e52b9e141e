package main

import (
	"fmt"
	"io"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"ramprow/services/inventory"
)

func benchStockCommand() *cobra.Command {
	var parts, movements int
	var output benchOutput
	command := &cobra.Command{
		Use:   "stock",
		Short: "Build a shop of many parts and a long history, and measure memory, start and every question",
		Long: "Folds drawn movements of three years into the inventory's state without a log or a broker, lets what\n" +
			"has rested leave for the archive as the service does, and measures the rest.",
		Example: "  ramprow bench stock\n  ramprow bench stock --parts 5000 --movements 100000 --output json",
		Args:    cobra.NoArgs,
		RunE: func(command *cobra.Command, _ []string) error {
			if err := output.known(); err != nil {
				return err
			}
			shop, err := inventory.MeasureBigShop(parts, movements)
			if err != nil {
				return err
			}
			return output.tell(command.OutOrStdout(), shop, func(w io.Writer) error { return writeShop(w, shop) })
		},
	}
	flags := command.Flags()
	flags.IntVar(&parts, "parts", 50_000, "parts in the master")
	flags.IntVar(&movements, "movements", 1_000_000, "movements of three years")
	output.flag(command)
	return command
}

func writeShop(w io.Writer, shop *inventory.BigShop) error {
	const mega = 1 << 20
	if _, err := fmt.Fprintf(w, "%d parts, %d movements over three years; %d of them are in the state, the others in the archive.\n"+
		"Events %d MB, state %d MB, snapshot %d MB.\n\n", shop.Parts, shop.Movements, shop.InState,
		shop.EventBytes/mega, shop.StateBytes/mega, shop.SnapshotBytes/mega); err != nil {
		return err
	}
	table := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, f := range shop.Figures {
		if _, err := fmt.Fprintf(table, "%s\t%s\n", f.What, f.Each.Round(100*time.Nanosecond)); err != nil {
			return err
		}
	}
	return table.Flush()
}
