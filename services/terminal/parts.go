package terminal

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

func partsCommands() *cobra.Command {
	return tree("parts", "The shelf: what is there, what is promised to whom, what to buy",
		"  ramprow parts list --needing-order\n  ramprow parts hold 17\n  ramprow parts issue 17",
		partsList, partsShow, partsScan, partsImport, partsExport, partsSet, partsReceive, partsCount, partsScrap, partsMovements,
		partsPick, partsPutAway,
		partsFailed, partsSetApart, partsReturns, partsOldUnit, partsSendBack, partsEndReturn,
		partsHolds, partsHold, partsHoldFor, partsReallocate, partsIssue, partsReturn, partsRelease, partsRenew,
		partsMorning, partsWhy, partsValue, partsTurns, partsCorrectCost,
		partsSuppliers, partsSupplier, partsOffers, partsOffer, partsImportOffers, partsExportOffers, partsPromise, partsBuyOnce, partsClasses,
		partsPropose, partsOrder, partsConfirmOrder, partsCancelOrder, partsOrders, partsWatch,
	)
}

func partsList(o *options) *cobra.Command {
	var needing bool
	var prefix, bin string
	var limit int
	command := &cobra.Command{
		Use:     "list",
		Short:   "List parts with what the shelf holds",
		Example: "  ramprow parts list --needing-order\n  ramprow parts list --prefix MO-42\n  ramprow parts list --bin C-07",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			rows, err := collect(s, limit, func(size int32, token string) ([]*inventoryv1.Part, string, error) {
				r, err := s.Inventory.ListParts(ctx, &inventoryv1.ListPartsRequest{
					PageSize: size, PageToken: token, NeedingOrder: needing, Prefix: prefix, Bin: bin, MinRevision: s.atLeast,
				})
				return r.GetParts(), r.GetNextPageToken(), err
			})
			if err != nil {
				return err
			}
			empty := "No part here. The catalogue brings them: ramprow catalogue import FILE"
			if needing {
				empty = "Nothing needs to be ordered."
			}
			return showList(s, rows, empty, partColumns())
		}),
	}
	command.Flags().BoolVar(&needing, "needing-order", false, "only what a job waits for or what runs low")
	command.Flags().StringVar(&prefix, "prefix", "", "only numbers that begin so")
	command.Flags().StringVar(&bin, "bin", "", "only what lies in this bin")
	limitFlag(command, &limit)
	return command
}

func partColumns() []column[*inventoryv1.Part] {
	return []column[*inventoryv1.Part]{
		left("PART", (*inventoryv1.Part).GetNumber),
		left("WHAT", (*inventoryv1.Part).GetTitle),
		left("BIN", (*inventoryv1.Part).GetBin),
		left("UNIT", func(p *inventoryv1.Part) string { return unit(p.GetUnit()) }),
		figure("ON HAND", func(p *inventoryv1.Part) string { return figures(p.GetOnHand()) }),
		figure("HELD", func(p *inventoryv1.Part) string { return figures(p.GetHeld()) }),
		figure("FREE", func(p *inventoryv1.Part) string { return figures(p.GetAvailable()) }),
		figure("ON ORDER", func(p *inventoryv1.Part) string { return figures(p.GetOnOrder()) }),
		figure("WANTED", func(p *inventoryv1.Part) string { return figures(p.GetWanted()) }),
	}
}

func partsShow(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "show PART",
		Short:   "Show one part with what the shelf holds",
		Example: "  ramprow parts show MO-4212",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			r, err := s.Inventory.GetPart(ctx, &inventoryv1.GetPartRequest{Part: args[0], MinRevision: s.atLeast})
			if err != nil {
				return err
			}
			if s.json {
				return s.showJSON(r.GetPart())
			}
			return partCard(r.GetPart()).write(s.out)
		}),
	}
}

func partCard(p *inventoryv1.Part) *card {
	c := &card{}
	c.add("Part", p.GetNumber()+"  "+p.GetTitle())
	c.add("Bin", p.GetBin())
	c.add("On hand", quantity(p.GetOnHand(), p.GetUnit()))
	c.add("Held", quantity(p.GetHeld(), p.GetUnit()))
	c.add("Free", quantity(p.GetAvailable(), p.GetUnit()))
	c.add("On order", quantity(p.GetOnOrder(), p.GetUnit()))
	c.add("Wanted", quantity(p.GetWanted(), p.GetUnit()))
	c.add("Price", priceOf(p))
	c.add("Cost", money(p.GetCost()))
	c.add("Worth", money(p.GetValue()))
	c.add("Supplier", p.GetSupplier())
	c.add("Lead time", plural(p.GetLeadTimeDays(), "day"))
	if p.GetReorderPoint() > 0 {
		c.add("Order at", fmt.Sprintf("%s, up to %s", quantity(p.GetReorderPoint(), p.GetUnit()), quantity(p.GetOrderUpTo(), p.GetUnit())))
	}
	c.add("Instead of", p.GetSupersedes())
	c.add("Barcode", p.GetBarcode())
	c.add("Or use", strings.Join(p.GetAlternatives(), ", "))
	return c
}

func priceOf(p *inventoryv1.Part) string {
	if p.GetPrice() == nil {
		return ""
	}
	return fmt.Sprintf("%s for %s, without tax", money(p.GetPrice()), quantity(max(p.GetPriceQuantity(), 1), p.GetUnit()))
}

func partsMovements(o *options) *cobra.Command {
	var limit int
	command := &cobra.Command{
		Use:     "movements PART",
		Short:   "Explain what is on hand, newest first",
		Example: "  ramprow parts movements MO-4212",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			rows, err := collect(s, limit, func(size int32, token string) ([]*inventoryv1.Movement, string, error) {
				r, err := s.Inventory.ListMovements(ctx, &inventoryv1.ListMovementsRequest{
					Part: args[0], PageSize: size, PageToken: token, MinRevision: s.atLeast,
				})
				return r.GetMovements(), r.GetNextPageToken(), err
			})
			if err != nil {
				return err
			}
			return showList(s, rows, "Nothing has moved yet.", []column[*inventoryv1.Movement]{
				figure("NO", func(m *inventoryv1.Movement) string { return figures(m.GetNumber()) }),
				left("AT", func(m *inventoryv1.Movement) string { return at(m.GetAt(), s.now()) }),
				left("WHAT", func(m *inventoryv1.Movement) string { return word(m.GetKind()) }),
				figure("CHANGE", func(m *inventoryv1.Movement) string { return fmt.Sprintf("%+d", m.GetQuantity()) }),
				figure("ON HAND", func(m *inventoryv1.Movement) string { return figures(m.GetOnHandAfter()) }),
				left("FOR", (*inventoryv1.Movement).GetReference),
				left("BY", (*inventoryv1.Movement).GetBy),
				left("NOTE", (*inventoryv1.Movement).GetNote),
			})
		}),
	}
	limitFlag(command, &limit)
	return command
}

func partsWatch(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "watch",
		Short:   "Follow every change of parts and holds, until Ctrl-C",
		Example: "  ramprow parts watch",
		RunE: o.follow(func(ctx context.Context, s *session, _ []string) error {
			stream, err := s.Inventory.WatchParts(ctx, &inventoryv1.WatchPartsRequest{})
			if err != nil {
				return err
			}
			return watch(ctx, s, stream.Recv, partsLine)
		}),
	}
}

func partsLine(r *inventoryv1.WatchPartsResponse) string {
	switch p, h := r.GetPart(), r.GetHold(); {
	case p != nil:
		return fmt.Sprintf("%s  %s on hand, %d held, %d on order", p.GetNumber(), quantity(p.GetOnHand(), p.GetUnit()), p.GetHeld(), p.GetOnOrder())
	case h != nil:
		return h.GetName() + "  " + word(h.GetState())
	}
	return ""
}
