package terminal

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// valuesAtOnce is how many parts one call is asked for.
const valuesAtOnce = 2000

func partsValue(o *options) *cobra.Command {
	var when string
	command := &cobra.Command{
		Use:   "value [PART]",
		Short: "Say what lies on the shelf, or lay there at a time, and what it was worth",
		Long: "By moving average cost: what comes in is worth what was paid, what goes takes the average along.\n" +
			"A day alone means its end. For one part its newest movements until then are told, too.",
		Example: "  ramprow parts value\n  ramprow parts value --at 2026-03-31\n  ramprow parts value MO-4212 --at '2026-03-31 12:00'",
		Args:    cobra.MaximumNArgs(1),
	}
	command.RunE = o.run(func(ctx context.Context, s *session, args []string) error {
		end, err := endOf(when, s.now())
		if err != nil {
			return err
		}
		all, err := stockValue(ctx, s, &inventoryv1.GetStockValueRequest{At: end, Part: strings.Join(args, ""), PageSize: valuesAtOnce})
		if err != nil {
			return err
		}
		if s.json {
			return s.showJSON(all)
		}
		if err := showList(s, all.GetParts(), "Nothing lay there.", valueColumns()); err != nil {
			return err
		}
		return s.answer(all, valueLines(s, all)...)
	})
	command.Flags().StringVar(&when, "at", "", "at that time; a day means its end; without it now")
	return command
}

// endOf reads a time that may be a day, which then means its end: what moved on
// that day counts. Of today only what has passed can be asked for.
func endOf(text string, now time.Time) (*timestamppb.Timestamp, error) {
	end, err := optionalTime("at", text, now)
	if err != nil || end == nil {
		return nil, err
	}
	day, err := parseDay(strings.TrimSpace(text), now)
	if err != nil {
		return end, nil //nolint:nilerr // it is a time, not a day
	}
	if last := day.AddDate(0, 0, 1).Add(-time.Nanosecond); last.Before(now) {
		return timestamppb.New(last), nil
	}
	return timestamppb.New(now), nil
}

// stockValue reads all pages, of one moment.
func stockValue(ctx context.Context, s *session, req *inventoryv1.GetStockValueRequest) (*inventoryv1.GetStockValueResponse, error) {
	var all *inventoryv1.GetStockValueResponse
	for {
		r, err := s.Buying.GetStockValue(ctx, req)
		if err != nil {
			return nil, err
		}
		if all == nil {
			all = r
			req.At = r.GetAt()
		} else {
			all.Parts = append(all.Parts, r.GetParts()...)
		}
		if req.PageToken = r.GetNextPageToken(); req.GetPageToken() == "" {
			all.NextPageToken = ""
			return all, nil
		}
	}
}

func valueColumns() []column[*inventoryv1.StockValue] {
	return []column[*inventoryv1.StockValue]{
		left("PART", (*inventoryv1.StockValue).GetPart),
		left("WHAT", (*inventoryv1.StockValue).GetTitle),
		figure("THERE", func(v *inventoryv1.StockValue) string { return quantity(v.GetQuantity(), v.GetUnit()) }),
		figure("AVERAGE", (*inventoryv1.StockValue).GetAverage),
		figure("VALUE", func(v *inventoryv1.StockValue) string { return orWord(money(v.GetValue()), "no cost known") }),
	}
}

func valueLines(s *session, r *inventoryv1.GetStockValueResponse) []string {
	var totals []string
	for _, total := range r.GetTotals() {
		totals = append(totals, money(total))
	}
	lines := []string{fmt.Sprintf("%s on %s", orWord(strings.Join(totals, " and "), "Nothing of known cost"), at(r.GetAt(), s.now()))}
	return append(lines, r.GetWhy()...)
}

func partsCorrectCost(o *options) *cobra.Command {
	var more, less, currency, reason string
	command := &cobra.Command{
		Use:   "correct-cost PART QUANTITY",
		Short: "Take over what a supplier billed otherwise than the goods were received at",
		Long: "The difference is for QUANTITY pieces together. As much of it as is still there changes the value\n" +
			"of stock; the rest is told, since it belongs to pieces that are gone.",
		Example: "  ramprow parts correct-cost MO-4212 16 --more 12.80 --reason 'bill NV-88123'\n" +
			"  ramprow parts correct-cost MO-4212 16 --less 4.00 --reason 'bonus for March'",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			billed, err := parseQuantity(args[1])
			if err != nil {
				return err
			}
			difference, err := differenceOf(more, less, currency)
			if err != nil {
				return err
			}
			r, err := s.Buying.CorrectCost(ctx, &inventoryv1.CorrectCostRequest{
				RequestId: s.once(), Part: args[0], Quantity: billed, Difference: difference, Reason: reason,
			})
			if err != nil {
				return err
			}
			return s.answer(r, fmt.Sprintf("%s: %s on what is there, now worth %s; %s for what is gone%s", r.GetPart().GetNumber(),
				money(r.GetOnShelf()), money(r.GetPart().GetValue()), money(r.GetGone()), repeated(r.GetReceipt())))
		}),
	}
	command.Flags().StringVar(&more, "more", "", "what was billed above the cost, as in 12.80")
	command.Flags().StringVar(&less, "less", "", "or below it")
	command.Flags().StringVar(&currency, "currency", "EUR", "currency of the amount")
	requireText(command, &reason, "reason", "the bill, or why")
	return command
}

func differenceOf(more, less, currency string) (*commonv1.Money, error) {
	if (more == "") == (less == "") {
		return nil, errors.New("say what was billed --more or --less, one of them")
	}
	m, err := parseMoney(more+less, currency)
	if err == nil && less != "" {
		m.MinorUnits = -m.GetMinorUnits()
	}
	return m, err
}

// addCosts gives received lines what was paid, as in MO-4212:120.50.
func addCosts(lines []*inventoryv1.ReceivedLine, costs []string, currency string) error {
	for _, text := range costs {
		part, figure, ok := strings.Cut(text, ":")
		cost, err := parseMoney(figure, currency)
		if !ok || err != nil {
			return fmt.Errorf("--cost %q is not known; write PART:AMOUNT, as in MO-4212:120.50", text)
		}
		found := false
		for _, l := range lines {
			if l.GetPart() == part {
				l.Cost, found = cost, true
			}
		}
		if !found {
			return fmt.Errorf("%s has a cost, but is not among what was received", part)
		}
	}
	return nil
}
