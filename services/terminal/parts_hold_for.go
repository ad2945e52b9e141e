package terminal

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

func partsHoldFor(o *options) *cobra.Command {
	var partial bool
	var until string
	command := &cobra.Command{
		Use:   "hold-for JOB PART:QUANTITY…",
		Short: "Hold parts for a job beside those of its plan: all of them or none",
		Example: "  ramprow parts hold-for 17 MO-4212:2 MO-4213:1\n" +
			"  ramprow parts hold-for 17 MO-4212:4 --partial --until 'tomorrow 17:00'",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, rest []string) error {
			ends, err := optionalTime("until", until, s.now())
			if err != nil {
				return err
			}
			request := &inventoryv1.HoldPartsRequest{RequestId: s.once(), Job: job, Partial: partial, ExpiresAt: ends}
			for _, text := range rest {
				part, n, err := parseCount(text)
				if err != nil {
					return err
				}
				request.Lines = append(request.Lines, &inventoryv1.WantedPart{Part: part, Quantity: n})
			}
			r, err := s.Inventory.HoldParts(ctx, request)
			if err != nil {
				return err
			}
			said := []string{holdLine(r.GetHold(), s.now()) + repeated(r.GetReceipt())}
			for _, p := range r.GetParts() {
				said = append(said, partLine(p))
			}
			return s.answer(r, said...)
		}),
	}
	command.Flags().BoolVar(&partial, "partial", false, "hold what is there and wait for the rest, with a date where it is on order")
	command.Flags().StringVar(&until, "until", "", "when a new hold ends unless it is used")
	return command
}

func partsRenew(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "renew JOB",
		Short:   "Let an unused hold end later, or take up again one that was released or has expired",
		Example: "  ramprow parts renew 17",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, _ []string) error {
			r, err := s.Inventory.RenewHold(ctx, &inventoryv1.RenewHoldRequest{RequestId: s.once(), Job: job})
			if err != nil {
				return err
			}
			line := holdLine(r.GetHold(), s.now()) + repeated(r.GetReceipt())
			if end := r.GetHold().GetExpiresAt(); end != nil {
				line += fmt.Sprintf("\nends %s unless it is used", at(end, s.now()))
			}
			return s.answer(r, line)
		}),
	}
}
