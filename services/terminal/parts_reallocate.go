package terminal

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

func partsReallocate(o *options) *cobra.Command {
	var quantity int64
	var dry bool
	command := &cobra.Command{
		Use:     "reallocate PART FROM-JOB TO-JOB",
		Short:   "Give what one job has on the shelf to another that waits for it, and tell what that means",
		Example: "  ramprow parts reallocate MO-4212 17 19 --dry-run\n  ramprow parts reallocate MO-4212 17 19 --quantity 2",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			from, err := jobName(args[1])
			if err != nil {
				return err
			}
			to, err := jobName(args[2])
			if err != nil {
				return err
			}
			r, err := s.Inventory.ReallocateParts(ctx, &inventoryv1.ReallocatePartsRequest{
				RequestId: s.once(), Part: args[0], FromJob: from, ToJob: to, Quantity: quantity, DryRun: dry,
			})
			if err != nil {
				return err
			}
			done := "done"
			if dry {
				done = "it would mean"
			}
			return s.answer(r, fmt.Sprintf("%s: %s%s", done, strings.Join(r.GetConsequences(), "; "), repeated(r.GetReceipt())))
		}),
	}
	command.Flags().Int64Var(&quantity, "quantity", 0, "pieces to give; 0: as many as the other waits for")
	command.Flags().BoolVar(&dry, "dry-run", false, "tell what it would mean and change nothing")
	return command
}
