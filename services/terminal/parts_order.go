package terminal

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

func partsPropose(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "propose",
		Short:   "Say what to order from whom today, and why",
		Example: "  ramprow parts propose",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			r, err := s.Inventory.ProposeOrders(ctx, &inventoryv1.ProposeOrdersRequest{MinRevision: s.atLeast})
			if err != nil {
				return err
			}
			return showList(s, r.GetProposals(), "Nothing needs to be ordered.", []column[*inventoryv1.Proposal]{
				left("PART", (*inventoryv1.Proposal).GetPart),
				left("WHAT", (*inventoryv1.Proposal).GetTitle),
				left("FROM", (*inventoryv1.Proposal).GetSupplier),
				figure("QUANTITY", func(p *inventoryv1.Proposal) string { return figures(p.GetQuantity()) }),
				figure("COST", func(p *inventoryv1.Proposal) string { return money(p.GetCost()) }),
				left("EXPECTED", func(p *inventoryv1.Proposal) string { return at(p.GetExpectedIfOrderedNow(), s.now()) }),
				left("LIKELY BY", func(p *inventoryv1.Proposal) string { return at(p.GetP80IfOrderedNow(), s.now()) }),
				left("JOBS", func(p *inventoryv1.Proposal) string { return strings.Join(p.GetJobs(), ", ") }),
				left("WHY", (*inventoryv1.Proposal).GetReason),
			})
		}),
	}
}

func partsOrder(o *options) *cobra.Command {
	var expected string
	command := &cobra.Command{
		Use:     "order SUPPLIER PART:QUANTITY…",
		Short:   "Keep what was ordered from a supplier",
		Example: "  ramprow parts order northvale MO-4212:16 --expected 'tomorrow 10:00'",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			lines, err := orderLines(s, args[1:], expected)
			if err != nil {
				return err
			}
			r, err := s.Inventory.PlaceOrder(ctx, &inventoryv1.PlaceOrderRequest{RequestId: s.once(), Supplier: args[0], Lines: lines})
			if err != nil {
				return err
			}
			n := number(r.GetOrder().GetName())
			return s.answer(r, orderLine(r.GetOrder(), r.GetReceipt()),
				nextLine("ramprow parts confirm-order "+n+" "+args[1]+" --expected TIME, or ramprow parts receive "+args[1]+" --order "+n))
		}),
	}
	command.Flags().StringVar(&expected, "expected", "", "when it comes, if the supplier has said so")
	return command
}

func orderLines(s *session, texts []string, when string) ([]*inventoryv1.OrderLine, error) {
	at, err := optionalTime("expected", when, s.now())
	if err != nil {
		return nil, err
	}
	lines := make([]*inventoryv1.OrderLine, len(texts))
	for i, text := range texts {
		part, n, err := parseCount(text)
		if err != nil {
			return nil, err
		}
		lines[i] = &inventoryv1.OrderLine{Part: part, Quantity: n, Expected: at}
	}
	return lines, nil
}

func orderLine(o *inventoryv1.Order, r *commonv1.Receipt) string {
	return fmt.Sprintf("%s: %s from %s, %s%s", o.GetName(), plural(len(o.GetLines()), "line"), o.GetSupplier(), word(o.GetState()), repeated(r))
}

func partsConfirmOrder(o *options) *cobra.Command {
	var reference, expected string
	command := &cobra.Command{
		Use:     "confirm-order ORDER PART:QUANTITY…",
		Short:   "Keep what the supplier answered; holds and bays follow",
		Example: "  ramprow parts confirm-order 5 MO-4212:16 --expected 'tomorrow 10:00' --reference NV-88123",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			order, err := orderName(args[0])
			if err != nil {
				return err
			}
			lines, err := orderLines(s, args[1:], expected)
			if err != nil {
				return err
			}
			r, err := s.Inventory.ConfirmOrder(ctx, &inventoryv1.ConfirmOrderRequest{
				RequestId: s.once(), Order: order, SupplierReference: reference, Lines: lines,
			})
			if err != nil {
				return err
			}
			return s.answer(r, orderLine(r.GetOrder(), r.GetReceipt()))
		}),
	}
	requireText(command, &expected, "expected", "when it comes")
	command.Flags().StringVar(&reference, "reference", "", "the supplier's own number")
	return command
}

func partsCancelOrder(o *options) *cobra.Command {
	var reason string
	command := &cobra.Command{
		Use:     "cancel-order ORDER",
		Short:   "Give up what has not arrived",
		Example: "  ramprow parts cancel-order 5 --reason 'found it elsewhere'",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			order, err := orderName(args[0])
			if err != nil {
				return err
			}
			r, err := s.Inventory.CancelOrder(ctx, &inventoryv1.CancelOrderRequest{RequestId: s.once(), Order: order, Reason: reason})
			if err != nil {
				return err
			}
			return s.answer(r, orderLine(r.GetOrder(), r.GetReceipt()))
		}),
	}
	requireText(command, &reason, "reason", "why")
	return command
}

// orderRow is one line of one order.
type orderRow struct {
	order *inventoryv1.Order
	line  *inventoryv1.OrderLine
}

func partsOrders(o *options) *cobra.Command {
	var finished bool
	var limit int
	command := &cobra.Command{
		Use:     "orders",
		Short:   "List orders line by line, newest first",
		Example: "  ramprow parts orders\n  ramprow parts orders --with-finished",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			orders, err := collect(s, limit, func(size int32, token string) ([]*inventoryv1.Order, string, error) {
				r, err := s.Inventory.ListOrders(ctx, &inventoryv1.ListOrdersRequest{
					PageSize: size, PageToken: token, WithFinished: finished, MinRevision: s.atLeast,
				})
				return r.GetOrders(), r.GetNextPageToken(), err
			})
			if err != nil {
				return err
			}
			if s.json || len(orders) == 0 {
				return showList(s, orders, "Nothing is on order. What should be: ramprow parts propose", nil)
			}
			var rows []orderRow
			for _, order := range orders {
				for _, line := range order.GetLines() {
					rows = append(rows, orderRow{order, line})
				}
			}
			return writeTable(s.out, rows, orderColumns(s))
		}),
	}
	command.Flags().BoolVar(&finished, "with-finished", false, "received and cancelled ones too")
	limitFlag(command, &limit)
	return command
}

func orderColumns(s *session) []column[orderRow] {
	return []column[orderRow]{
		figure("ORDER", func(r orderRow) string { return number(r.order.GetName()) }),
		left("FROM", func(r orderRow) string { return r.order.GetSupplier() }),
		left("STATE", func(r orderRow) string { return word(r.order.GetState()) }),
		left("PART", func(r orderRow) string { return r.line.GetPart() }),
		figure("ORDERED", func(r orderRow) string { return figures(r.line.GetQuantity()) }),
		figure("RECEIVED", func(r orderRow) string { return figures(r.line.GetReceived()) }),
		left("EXPECTED", func(r orderRow) string { return at(r.line.GetExpected(), s.now()) }),
		left("REFERENCE", func(r orderRow) string { return r.order.GetSupplierReference() }),
	}
}
