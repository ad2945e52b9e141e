package terminal

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

func partsTurns(o *options) *cobra.Command {
	var from, to string
	command := &cobra.Command{
		Use:   "turns [PART]",
		Short: "Say how often stock turns: what jobs used over the mean value of stock, a year",
		Long: "At cost: what was issued to jobs, less what they gave back, over the mean value of what lay on the shelf over all\n" +
			"moments of the window, as a rate a year. Without --from it begins 91 days ago. For one part what moved is told, too.",
		Example: "  ramprow parts turns\n  ramprow parts turns --from '2026-01-01 00:00' --to '2026-04-01 00:00'\n  ramprow parts turns MO-4212",
		Args:    cobra.MaximumNArgs(1),
	}
	command.RunE = o.run(func(ctx context.Context, s *session, args []string) error {
		now := s.now()
		if from == "" {
			from = now.AddDate(0, 0, -91).Format(dayLayout) + " 00:00"
		}
		if to == "" {
			to = now.AddDate(0, 0, 1).Format(dayLayout) + " 00:00" // the service stops at its own clock
		}
		when, err := parseInterval(from, to, now)
		if err != nil {
			return err
		}
		all, err := stockTurn(ctx, s, &inventoryv1.GetStockTurnRequest{When: when, Part: strings.Join(args, ""), PageSize: valuesAtOnce})
		if err != nil {
			return err
		}
		if s.json {
			return s.showJSON(all)
		}
		if len(args) > 0 {
			for _, m := range all.GetMovements() {
				if err := s.say("%s", turnMovement(s, m)); err != nil {
					return err
				}
			}
		}
		if err := showList(s, append(all.GetParts(), all.GetTotals()...), "Nothing of known cost lay there.", turnColumns()); err != nil {
			return err
		}
		if n := all.GetPartsWithoutCost(); n > 0 {
			return s.say("Parts that jobs used though no cost of them was known: %d; they are in none of these figures.", n)
		}
		return nil
	})
	command.Flags().StringVar(&from, "from", "", "where the window begins, as in '2026-01-01 00:00'")
	command.Flags().StringVar(&to, "to", "", "where it ends; without it now")
	return command
}

// stockTurn reads all pages of one window.
func stockTurn(ctx context.Context, s *session, req *inventoryv1.GetStockTurnRequest) (*inventoryv1.GetStockTurnResponse, error) {
	var all *inventoryv1.GetStockTurnResponse
	for {
		r, err := s.Buying.GetStockTurn(ctx, req)
		if err != nil {
			return nil, err
		}
		if all == nil {
			all, req.When = r, r.GetWhen()
		} else {
			all.Movements = append(all.Movements, r.GetMovements()...)
			if req.GetPart() == "" {
				all.Parts = append(all.Parts, r.GetParts()...)
			}
		}
		if req.PageToken = r.GetNextPageToken(); req.GetPageToken() == "" {
			all.NextPageToken = ""
			return all, nil
		}
	}
}

func turnMovement(s *session, m *inventoryv1.Movement) string {
	return strings.TrimSpace(fmt.Sprintf("%s  %+d %s %s", at(m.GetAt(), s.now()), m.GetQuantity(), word(m.GetKind()), m.GetReference()))
}

func turnColumns() []column[*inventoryv1.StockTurn] {
	rate := func(digits int, get func(*inventoryv1.StockTurn) float64) func(*inventoryv1.StockTurn) string {
		return func(t *inventoryv1.StockTurn) string {
			if t.GetTurns() == 0 {
				return "-"
			}
			return fmt.Sprintf("%.*f", digits, get(t))
		}
	}
	return []column[*inventoryv1.StockTurn]{
		left("PART", func(t *inventoryv1.StockTurn) string { return orWord(t.GetPart(), "altogether") }),
		left("WHAT", (*inventoryv1.StockTurn).GetTitle),
		figure("MEAN VALUE", func(t *inventoryv1.StockTurn) string { return money(t.GetMean()) }),
		figure("USED", func(t *inventoryv1.StockTurn) string { return money(t.GetIssued()) }),
		figure("GIVEN BACK", func(t *inventoryv1.StockTurn) string { return money(t.GetReturned()) }),
		figure("TURNS A YEAR", rate(2, (*inventoryv1.StockTurn).GetTurns)),
		figure("DAYS IT LASTS", rate(0, (*inventoryv1.StockTurn).GetDays)),
	}
}
