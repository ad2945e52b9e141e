package terminal

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

func partsPromise(o *options) *cobra.Command {
	var ahead int32
	command := &cobra.Command{
		Use:     "promise PART [QUANTITY]",
		Short:   "Say how much of a part can still be promised, week by week, and from which day a quantity",
		Example: "  ramprow parts promise MO-4212\n  ramprow parts promise MO-4212 16 --weeks 12",
		Args:    cobra.RangeArgs(1, 2),
	}
	command.RunE = o.run(func(ctx context.Context, s *session, args []string) error {
		req := &inventoryv1.GetPromiseRequest{Part: args[0], Weeks: ahead}
		if len(args) == 2 {
			n, err := parseQuantity(args[1])
			if err != nil {
				return err
			}
			req.Quantity = n
		}
		r, err := s.Buying.GetPromise(ctx, req)
		if err != nil {
			return err
		}
		if s.json {
			return s.showJSON(r)
		}
		if err := showList(s, r.GetWeeks(), "", []column[*inventoryv1.PromiseWeek]{
			left("FROM", func(w *inventoryv1.PromiseWeek) string { return at(w.GetBegins(), s.now()) }),
			figure("ARRIVES", func(w *inventoryv1.PromiseWeek) string { return figures(w.GetArrives()) }),
			figure("WANTED", func(w *inventoryv1.PromiseWeek) string { return figures(w.GetWanted()) }),
			figure("LIKELY", func(w *inventoryv1.PromiseWeek) string { return figures(w.GetExpected()) }),
			figure("FREE", func(w *inventoryv1.PromiseWeek) string { return figures(w.GetFree()) }),
		}); err != nil {
			return err
		}
		return s.answer(r, r.GetWhy()...)
	})
	command.Flags().Int32Var(&ahead, "weeks", 8, "how far to look")
	return command
}

func partsBuyOnce(o *options) *cobra.Command {
	var missing, leftOver, currency string
	var last int32
	command := &cobra.Command{
		Use:   "buy-once PART",
		Short: "Say how many to buy of what cannot be bought again, as a last order before a part ends",
		Long:  "By what one too few and one too many cost: without flags its price less its cost, and its cost.",
		Example: "  ramprow parts buy-once MO-4212 --weeks 104\n" +
			"  ramprow parts buy-once MO-4212 --weeks 52 --missing 40 --left 7.80",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			req := &inventoryv1.GetOneTimeBuyRequest{Part: args[0], Weeks: last}
			for text, to := range map[*string]**commonv1.Money{&missing: &req.Missing, &leftOver: &req.Left} {
				if *text == "" {
					continue
				}
				m, err := parseMoney(*text, currency)
				if err != nil {
					return err
				}
				*to = m
			}
			r, err := s.Buying.GetOneTimeBuy(ctx, req)
			if err != nil {
				return err
			}
			return s.answer(r, append([]string{fmt.Sprintf("Buy %d; it is enough with %.0f%%", r.GetQuantity(), 100*r.GetEnough())}, r.GetWhy()...)...)
		}),
	}
	flags := command.Flags()
	flags.Int32Var(&last, "weeks", 52, "how long it has to last")
	flags.StringVar(&missing, "missing", "", "what each one that is missing loses")
	flags.StringVar(&leftOver, "left", "", "what each one that is left loses")
	flags.StringVar(&currency, "currency", "EUR", "currency of the amounts")
	return command
}

func partsClasses(o *options) *cobra.Command {
	var class string
	var limit int
	command := &cobra.Command{
		Use:     "classes",
		Short:   "Rank parts by what went of them in the last year: A up to 80 % of its value, B up to 95 %, C the rest",
		Example: "  ramprow parts classes --class A",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			rows, err := collect(s, limit, func(size int32, token string) ([]*inventoryv1.PartClass, string, error) {
				r, err := s.Buying.ListClasses(ctx, &inventoryv1.ListClassesRequest{PageSize: size, PageToken: token, Class: class})
				return r.GetParts(), r.GetNextPageToken(), err
			})
			if err != nil {
				return err
			}
			return showList(s, rows, "No part here.", []column[*inventoryv1.PartClass]{
				left("CLASS", (*inventoryv1.PartClass).GetClass),
				left("PART", (*inventoryv1.PartClass).GetPart),
				left("WHAT", (*inventoryv1.PartClass).GetTitle),
				figure("WENT", func(c *inventoryv1.PartClass) string { return money(c.GetValue()) }),
				figure("SHARE", func(c *inventoryv1.PartClass) string { return fmt.Sprintf("%.1f%%", c.GetShare()) }),
				figure("IN ALL", func(c *inventoryv1.PartClass) string { return fmt.Sprintf("%.1f%%", c.GetCumulative()) }),
				left("DEMAND", (*inventoryv1.PartClass).GetDemand),
			})
		}),
	}
	command.Flags().StringVar(&class, "class", "", "only A, B or C")
	completeFlag(command, "class", "A", "B", "C")
	limitFlag(command, &limit)
	return command
}
