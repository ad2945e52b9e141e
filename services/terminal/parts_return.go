package terminal

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

func partsFailed(o *options) *cobra.Command {
	var reason string
	var quantity int64
	var without bool
	command := &cobra.Command{
		Use:     "failed JOB LINE",
		Short:   "A new part failed: take it off the job for the supplier, and hold another one",
		Example: "  ramprow parts failed 17 pump-1 --reason 'leaks at the flange'\n  ramprow parts failed 17 seal-1 --quantity 2 --without-another --reason torn",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, rest []string) error {
			r, err := s.Inventory.ReportFailedPart(ctx, &inventoryv1.ReportFailedPartRequest{
				RequestId: s.once(), Job: job, Line: rest[0], Quantity: quantity, Reason: reason, WithoutAnother: without,
			})
			if err != nil {
				return err
			}
			return s.answer(r, returnLine(r.GetReturn(), s.now())+repeated(r.GetReceipt()), holdLine(r.GetHold(), s.now()))
		}),
	}
	requireText(command, &reason, "reason", "what is wrong with it")
	command.Flags().Int64Var(&quantity, "quantity", 1, "how many of the line failed")
	command.Flags().BoolVar(&without, "without-another", false, "the job needs no other one")
	return command
}

func partsSetApart(o *options) *cobra.Command {
	var kind, reason, order string
	command := &cobra.Command{
		Use:     "set-apart PART QUANTITY",
		Short:   "Take pieces off the shelf that go back to their supplier",
		Example: "  ramprow parts set-apart MO-4212 2 --kind failed --reason 'cracked in the box'",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			n, err := parseQuantity(args[1])
			if err != nil {
				return err
			}
			why, err := choose[inventoryv1.ReturnKind]("--kind", kind)
			if err != nil {
				return err
			}
			if order != "" {
				if order, err = orderName(order); err != nil {
					return err
				}
			}
			r, err := s.Inventory.SetApart(ctx, &inventoryv1.SetApartRequest{
				RequestId: s.once(), Part: args[0], Quantity: n, Kind: why, Reason: reason, Order: order,
			})
			if err != nil {
				return err
			}
			return s.answer(r, returnLine(r.GetReturn(), s.now())+repeated(r.GetReceipt()), partLine(r.GetPart()))
		}),
	}
	requireText(command, &kind, "kind", "why it goes back: failed, damaged, wrong or unneeded")
	requireText(command, &reason, "reason", "the same in words")
	command.Flags().StringVar(&order, "order", "", "the order that it came with")
	completeFlag(command, "kind", "failed", "damaged", "wrong", "unneeded")
	return command
}

func partsReturns(o *options) *cobra.Command {
	var job string
	var all bool
	var limit int
	command := &cobra.Command{
		Use:     "returns",
		Short:   "List what is to go back to suppliers, is away, or is owed, the oldest first",
		Example: "  ramprow parts returns\n  ramprow parts returns --job 17\n  ramprow parts returns --all",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			if job != "" {
				var err error
				if job, err = jobName(job); err != nil {
					return err
				}
			}
			rows, err := collect(s, limit, func(size int32, token string) ([]*inventoryv1.Return, string, error) {
				r, err := s.Inventory.ListReturns(ctx, &inventoryv1.ListReturnsRequest{
					PageSize: size, PageToken: token, WithFinished: all, OfJob: job, MinRevision: s.atLeast,
				})
				return r.GetReturns(), r.GetNextPageToken(), err
			})
			if err != nil {
				return err
			}
			return showList(s, rows, "Nothing goes back.", returnColumns(s.now()))
		}),
	}
	command.Flags().StringVar(&job, "job", "", "only of this job, finished ones too")
	command.Flags().BoolVar(&all, "all", false, "finished ones too")
	limitFlag(command, &limit)
	return command
}

func returnColumns(now time.Time) []column[*inventoryv1.Return] {
	return []column[*inventoryv1.Return]{
		figure("NO", func(r *inventoryv1.Return) string { return number(r.GetName()) }),
		left("STATE", func(r *inventoryv1.Return) string { return word(r.GetState()) }),
		left("SINCE", func(r *inventoryv1.Return) string { return at(r.GetSince(), now) }),
		figure("QUANTITY", func(r *inventoryv1.Return) string { return quantity(r.GetQuantity(), r.GetUnit()) }),
		left("PART", (*inventoryv1.Return).GetPart),
		left("KIND", func(r *inventoryv1.Return) string { return word(r.GetKind()) }),
		left("SUPPLIER", (*inventoryv1.Return).GetSupplier),
		left("OF", func(r *inventoryv1.Return) string { return orWord(r.GetJob(), r.GetOrder()) }),
		figure("EXPECTED", func(r *inventoryv1.Return) string { return money(r.GetExpected()) }),
		figure("CREDITED", func(r *inventoryv1.Return) string { return money(r.GetCredited()) }),
		left("WHY", func(r *inventoryv1.Return) string { return orWord(r.GetOutcome(), r.GetReason()) }),
	}
}

// returnLine says how a return stands and what is next.
func returnLine(r *inventoryv1.Return, now time.Time) string {
	n := number(r.GetName())
	line := fmt.Sprintf("%s: %s × %s (%s) %s since %s", r.GetName(), quantity(r.GetQuantity(), r.GetUnit()), r.GetPart(), word(r.GetKind()), word(r.GetState()), at(r.GetSince(), now))
	if of := orWord(r.GetJob(), r.GetOrder()); of != "" {
		line += ", of " + of
	}
	switch r.GetState() {
	case inventoryv1.ReturnState_RETURN_STATE_EXPECTED:
		return line + ". Next: ramprow parts old-unit " + n
	case inventoryv1.ReturnState_RETURN_STATE_SET_APART:
		return line + ". Next: ramprow parts send-back " + n
	case inventoryv1.ReturnState_RETURN_STATE_SENT:
		return line + ". Next: ramprow parts end-return " + n
	default:
		return line
	}
}

func partsOldUnit(o *options) *cobra.Command {
	var condition string
	var quantity int64
	command := &cobra.Command{
		Use:     "old-unit RETURN",
		Short:   "Take in the old unit of a part with a deposit",
		Example: "  ramprow parts old-unit 5 --condition 'whole, shaft turns'",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			r, err := s.Inventory.ReceiveOldUnit(ctx, &inventoryv1.ReceiveOldUnitRequest{
				RequestId: s.once(), Return: inCollection("returns", args[0]), Quantity: quantity, Condition: condition,
			})
			if err != nil {
				return err
			}
			return s.answer(r, returnLine(r.GetReturn(), s.now())+repeated(r.GetReceipt()))
		}),
	}
	requireText(command, &condition, "condition", "how it is, as the supplier will look at it")
	command.Flags().Int64Var(&quantity, "quantity", 0, "how many came; 0: all of them")
	return command
}

func partsSendBack(o *options) *cobra.Command {
	var reference string
	command := &cobra.Command{
		Use:     "send-back RETURN…",
		Short:   "Say that what was set apart is on its way to its supplier",
		Example: "  ramprow parts send-back 5 6 --reference 'parcel 4711'",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			request := &inventoryv1.SendReturnsRequest{RequestId: s.once(), Reference: reference}
			for _, name := range args {
				request.Returns = append(request.Returns, inCollection("returns", name))
			}
			r, err := s.Inventory.SendReturns(ctx, request)
			if err != nil {
				return err
			}
			var lines []string
			for _, sent := range r.GetReturns() {
				lines = append(lines, returnLine(sent, s.now()))
			}
			return s.answer(r, strings.Join(lines, "\n")+repeated(r.GetReceipt()))
		}),
	}
	command.Flags().StringVar(&reference, "reference", "", "the supplier's number for it, or the parcel's")
	return command
}

func partsEndReturn(o *options) *cobra.Command {
	var credit, currency, reason string
	var quantity int64
	command := &cobra.Command{
		Use:   "end-return RETURN OUTCOME",
		Short: "Keep what became of it: credited, replaced, refused, kept or lost",
		Example: "  ramprow parts end-return 5 credited --credit 40.00\n" +
			"  ramprow parts end-return 6 refused --reason 'housing cracked'",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			outcome, err := choose[inventoryv1.ReturnState]("OUTCOME", args[1])
			if err != nil {
				return err
			}
			request := &inventoryv1.CloseReturnRequest{
				RequestId: s.once(), Return: inCollection("returns", args[0]), Quantity: quantity, Outcome: outcome, Reason: reason,
			}
			if credit != "" {
				if request.Credited, err = s.creditFor(ctx, request.GetReturn(), credit, currency); err != nil {
					return err
				}
			}
			r, err := s.Inventory.CloseReturn(ctx, request)
			if err != nil {
				return err
			}
			said := []string{returnLine(r.GetReturn(), s.now()) + repeated(r.GetReceipt())}
			if r.GetPart() != nil {
				said = append(said, partLine(r.GetPart()))
			}
			return s.answer(r, said...)
		}),
	}
	command.Flags().StringVar(&credit, "credit", "", "what the supplier pays for all of it, as in 40.00")
	command.Flags().StringVar(&currency, "currency", "", "currency of the credit, if none was expected")
	command.Flags().StringVar(&reason, "reason", "", "why; needed for what is refused or lost, and for a credit that differs")
	command.Flags().Int64Var(&quantity, "quantity", 0, "how many of it; 0: all of them")
	command.ValidArgsFunction = completeAt(1, "credited", "replaced", "refused", "kept", "lost")
	return command
}

// creditFor reads an amount in the currency in which a credit is expected.
func (s *session) creditFor(ctx context.Context, name, amount, currency string) (*commonv1.Money, error) {
	if currency == "" {
		r, err := s.Inventory.GetReturn(ctx, &inventoryv1.GetReturnRequest{Return: name, MinRevision: s.atLeast})
		if err != nil {
			return nil, err
		}
		currency = r.GetReturn().GetExpected().GetCurrencyCode()
	}
	if currency == "" {
		return nil, fmt.Errorf("nobody knows in what currency %s is credited; add --currency EUR or another", name)
	}
	parsed, err := parseMoney(amount, currency)
	if err != nil {
		return nil, fmt.Errorf("--credit: %w", err)
	}
	return parsed, nil
}
