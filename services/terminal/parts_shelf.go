package terminal

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"ramprow/internal/platform/fault"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// partChange is what the flags of `parts set` fill; only flags that were given count.
type partChange struct {
	title, unit, price, cost, currency, supplier, bin, barcode string
	lead                                                       uint32
	pack, point, upTo, priceQuantity                           int64
}

func partsSet(o *options) *cobra.Command {
	in := &partChange{}
	command := &cobra.Command{
		Use:     "set PART",
		Short:   "List a part or change its description; flags that are left out stay as they are",
		Example: "  ramprow parts set MO-4212 --bin C-07 --reorder-point 8 --order-up-to 24\n  ramprow parts set XX-1 --title 'Drain plug' --unit piece --price 2.40 --currency EUR",
	}
	command.RunE = o.run(func(ctx context.Context, s *session, args []string) error {
		part, err := s.partOrNew(ctx, args[0])
		if err != nil {
			return err
		}
		if err := in.apply(part, command.Flags().Changed); err != nil {
			return err
		}
		r, err := s.Inventory.SetPart(ctx, &inventoryv1.SetPartRequest{RequestId: s.once(), Part: part})
		if err != nil {
			return err
		}
		return s.answer(r, r.GetPart().GetNumber()+": kept"+repeated(r.GetReceipt()))
	})
	in.bind(command)
	return command
}

func (in *partChange) bind(command *cobra.Command) {
	flags := command.Flags()
	flags.StringVar(&in.title, "title", "", "what it is")
	flags.StringVar(&in.unit, "unit", "", "smallest unit: "+strings.Join(choices[commonv1.Unit](), ", "))
	flags.StringVar(&in.price, "price", "", "selling price without tax, as in 12.50")
	flags.Int64Var(&in.priceQuantity, "per", 0, "units that the price is for")
	flags.StringVar(&in.cost, "cost", "", "buying price, as in 7.80")
	flags.StringVar(&in.currency, "currency", "", "currency of the prices, if the part has none yet")
	flags.StringVar(&in.supplier, "supplier", "", "who sells it")
	flags.Uint32Var(&in.lead, "lead-time-days", 0, "days from order to shelf")
	flags.Int64Var(&in.pack, "pack", 0, "units in the smallest pack that can be bought")
	flags.StringVar(&in.bin, "bin", "", "where it lies")
	flags.StringVar(&in.barcode, "barcode", "", "its barcode")
	flags.Int64Var(&in.point, "reorder-point", 0, "order when what is free falls to this")
	flags.Int64Var(&in.upTo, "order-up-to", 0, "and order up to this")
	completeFlag(command, "unit", choices[commonv1.Unit]()...)
}

// partOrNew reads a part to change it, or begins one.
func (s *session) partOrNew(ctx context.Context, number string) (*inventoryv1.Part, error) {
	r, err := s.Inventory.GetPart(ctx, &inventoryv1.GetPartRequest{Part: number, MinRevision: s.atLeast})
	if err != nil && fault.KindOf(err) == fault.NotFound {
		return &inventoryv1.Part{Name: "parts/" + number, Number: number}, nil
	}
	return r.GetPart(), err
}

func (in *partChange) apply(p *inventoryv1.Part, given func(string) bool) error {
	for flag, set := range map[string]func(){
		"title": func() { p.Title = in.title }, "supplier": func() { p.Supplier = in.supplier },
		"bin": func() { p.Bin = in.bin }, "barcode": func() { p.Barcode = in.barcode },
		"lead-time-days": func() { p.LeadTimeDays = in.lead }, "pack": func() { p.Pack = in.pack },
		"reorder-point": func() { p.ReorderPoint = in.point }, "order-up-to": func() { p.OrderUpTo = in.upTo },
		"per": func() { p.PriceQuantity = in.priceQuantity },
	} {
		if given(flag) {
			set()
		}
	}
	if given("unit") {
		u, err := choose[commonv1.Unit]("--unit", in.unit)
		if err != nil {
			return err
		}
		p.Unit = u
	}
	return in.applyPrices(p, given)
}

func (in *partChange) applyPrices(p *inventoryv1.Part, given func(string) bool) error {
	currency := orWord(in.currency, orWord(p.GetPrice().GetCurrencyCode(), p.GetCost().GetCurrencyCode()))
	for flag, target := range map[string]**commonv1.Money{"price": &p.Price, "cost": &p.Cost} {
		if !given(flag) {
			continue
		}
		if currency == "" {
			return fmt.Errorf("%s has no price yet, so its currency is not known; add --currency EUR or another", p.GetNumber())
		}
		parsed, err := parseMoney(map[string]string{"price": in.price, "cost": in.cost}[flag], currency)
		if err != nil {
			return fmt.Errorf("--%s: %w", flag, err)
		}
		*target = parsed
	}
	return nil
}

func partsReceive(o *options) *cobra.Command {
	var order, note, currency string
	var damaged, over, costs []string
	command := &cobra.Command{
		Use:     "receive PART:QUANTITY…",
		Short:   "Put goods on the shelf, with or without an order; jobs that wait are served at once",
		Example: "  ramprow parts receive MO-4212:16 --order 5\n  ramprow parts receive MO-4212:15 --order 5 --damaged MO-4212:1\n  ramprow parts receive MO-4212:18 --order 5 --send-back MO-4212:2\n  ramprow parts receive MO-4212:16 --cost MO-4212:120.50",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			lines, err := receivedLines(args, damaged, over)
			if err == nil {
				err = addCosts(lines, costs, currency)
			}
			if err != nil {
				return err
			}
			if order != "" {
				if order, err = orderName(order); err != nil {
					return err
				}
			}
			r, err := s.Inventory.ReceiveGoods(ctx, &inventoryv1.ReceiveGoodsRequest{RequestId: s.once(), Order: order, Lines: lines, Note: note})
			if err != nil {
				return err
			}
			served := "no job waited for all of it"
			if len(r.GetJobsServed()) > 0 {
				served = "now complete: " + strings.Join(r.GetJobsServed(), ", ")
			}
			said := []string{fmt.Sprintf("%s taken in; %s%s", plural(len(lines), "line"), served, repeated(r.GetReceipt()))}
			for _, back := range r.GetReturns() {
				said = append(said, returnLine(back, s.now()))
			}
			return s.answer(r, said...)
		}),
	}
	command.Flags().StringVar(&order, "order", "", "the order that they came with")
	command.Flags().StringVar(&note, "note", "", "delivery note or remark")
	command.Flags().StringArrayVar(&damaged, "damaged", nil, "PART:QUANTITY that came damaged: counted on the order, not shelved")
	command.Flags().StringArrayVar(&over, "send-back", nil, "PART:QUANTITY of it that was not ordered or came over: set apart, and not counted on the order")
	command.Flags().StringArrayVar(&costs, "cost", nil, "PART:AMOUNT that the good ones of a part cost together; without it what the order or the part says")
	command.Flags().StringVar(&currency, "currency", "EUR", "currency of --cost")
	return command
}

func receivedLines(good, damaged, over []string) ([]*inventoryv1.ReceivedLine, error) {
	var lines []*inventoryv1.ReceivedLine
	byPart := map[string]*inventoryv1.ReceivedLine{}
	for _, text := range good {
		part, n, err := parseCount(text)
		if err != nil {
			return nil, err
		}
		line := &inventoryv1.ReceivedLine{Part: part, Quantity: n}
		lines, byPart[part] = append(lines, line), line
	}
	for _, not := range []struct {
		texts []string
		what  string
		set   func(*inventoryv1.ReceivedLine, int64)
	}{
		{damaged, "came damaged", func(l *inventoryv1.ReceivedLine, n int64) { l.Damaged = n }},
		{over, "goes back", func(l *inventoryv1.ReceivedLine, n int64) { l.SendBack = n }},
	} {
		for _, text := range not.texts {
			part, n, err := parseCount(text)
			if err != nil {
				return nil, err
			}
			if byPart[part] == nil {
				return nil, fmt.Errorf("%s %s, but is not among what was received; name it as %s:QUANTITY too", part, not.what, part)
			}
			not.set(byPart[part], n)
		}
	}
	return lines, nil
}

func partsCount(o *options) *cobra.Command {
	var cause, reason string
	command := &cobra.Command{
		Use:   "count PART COUNTED",
		Short: "Set what is on hand to what was counted; a difference needs a cause, a large one another person's count",
		Example: "  ramprow parts count MO-4212 14\n" +
			"  ramprow parts count MO-4212 13 --cause mislaid --reason 'one lay in C-08'",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			counted, err := parseQuantity(args[1])
			if err != nil {
				return err
			}
			why, err := chooseOptional[inventoryv1.CountCause]("--cause", cause)
			if err != nil {
				return err
			}
			r, err := s.Inventory.CountShelf(ctx, &inventoryv1.CountShelfRequest{
				RequestId: s.once(), Part: args[0], Counted: counted, Reason: reason, Cause: why,
			})
			if err != nil {
				return err
			}
			return s.answer(r, partLine(r.GetPart())+repeated(r.GetReceipt()), questionLine(r.GetQuestion()))
		}),
	}
	command.Flags().StringVar(&cause, "cause", "", "why the shelf differs from the book: "+strings.Join(choices[inventoryv1.CountCause](), ", "))
	command.Flags().StringVar(&reason, "reason", "", "the same in words")
	completeFlag(command, "cause", choices[inventoryv1.CountCause]()...)
	return command
}

func partsScrap(o *options) *cobra.Command {
	var reason string
	command := &cobra.Command{
		Use:     "scrap PART QUANTITY",
		Short:   "Take broken or expired stock off the shelf",
		Example: "  ramprow parts scrap MO-4212 2 --reason 'dropped'",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			n, err := parseQuantity(args[1])
			if err != nil {
				return err
			}
			r, err := s.Inventory.ScrapPart(ctx, &inventoryv1.ScrapPartRequest{RequestId: s.once(), Part: args[0], Quantity: n, Reason: reason})
			if err != nil {
				return err
			}
			return s.answer(r, partLine(r.GetPart())+repeated(r.GetReceipt()))
		}),
	}
	requireText(command, &reason, "reason", "why")
	return command
}

func partLine(p *inventoryv1.Part) string {
	return fmt.Sprintf("%s: %s on hand, %s free", p.GetNumber(), quantity(p.GetOnHand(), p.GetUnit()), quantity(p.GetAvailable(), p.GetUnit()))
}
