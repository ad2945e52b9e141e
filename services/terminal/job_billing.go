package terminal

import (
	"context"
	"fmt"
	"os"
	"slices"
	"strings"

	"buf.build/go/protoyaml"
	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

// readMessage reads a YAML or JSON file that is a message itself.
func readMessage(file string, into proto.Message) error {
	data, err := os.ReadFile(file) //nolint:gosec // the caller's own file
	if err != nil {
		return fmt.Errorf("reading the file: %w", err)
	}
	if err := (protoyaml.UnmarshalOptions{Path: file}).Unmarshal(data, into); err != nil {
		return fmt.Errorf("%s is not right: %w", file, err)
	}
	return nil
}

func jobBilling(o *options) *cobra.Command {
	return &cobra.Command{
		Use:   "billing JOB FILE",
		Short: "Say how a job is billed and who pays which share, from a YAML or JSON file",
		Long: "The file is the whole of it each time. All of it may be left out:\n\n" +
			"  labour: LABOUR_MODE_TIME_TAKEN     # or LABOUR_MODE_AGREED, or LABOUR_MODE_FIXED_PRICE with fixedPrice\n" +
			"  cashUnitMinorUnits: 5\n" +
			"  items:\n" +
			"    - {kind: LINE_KIND_CONSUMABLE, title: Cleaner, quantity: 2, unit: H87, price: {minorUnits: 450, currencyCode: EUR}}\n" +
			"    - {kind: LINE_KIND_DISCOUNT, title: Regular customer, basisPoints: 500, onKind: LINE_KIND_PART}\n" +
			"  taxes:\n" +
			"    - {tax: {category: AE, exemptionReason: Reverse charge, exemptionCode: VATEX-EU-AE}}\n" +
			"  payers:\n" +
			"    - {id: warranty, shares: [{kind: LINE_KIND_PART, basisPoints: 10000}], party: {name: Insurer, country: AT}}",
		Example: "  ramprow job billing 17 billing.yaml",
		RunE: o.changeJob(func(ctx context.Context, s *session, job string, rest []string) (jobAnswer, string, error) {
			billing := &jobv1.Billing{}
			if err := readMessage(rest[0], billing); err != nil {
				return nil, "", err
			}
			r, err := s.Billing.SetBilling(ctx, &jobv1.SetBillingRequest{RequestId: s.once(), Job: job, Billing: billing})
			return r, "the billing is set; see it with: ramprow job quote " + number(job), err
		}),
	}
}

func jobQuote(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "quote JOB",
		Short:   "Show every payer's invoice and credit note, as it would be or was issued",
		Example: "  ramprow job quote 17",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, _ []string) error {
			r, err := s.Billing.PreviewBilling(ctx, &jobv1.PreviewBillingRequest{Job: job, MinRevision: s.atLeast})
			if err != nil {
				return err
			}
			if s.json {
				return s.showJSON(r)
			}
			for _, i := range slices.Concat(r.GetInvoices(), r.GetCreditNotes()) {
				if err := s.say("For %s, %s", i.GetPayer(), i.GetCustomer().GetName()); err != nil {
					return err
				}
				if err := s.showInvoice(i); err != nil {
					return err
				}
				if err := s.say(""); err != nil {
					return err
				}
			}
			return s.showConditions(r.GetUnmet(), number(job))
		}),
	}
}

func (s *session) showConditions(unmet []*jobv1.UnmetCondition, n string) error {
	if len(unmet) == 0 {
		return nil
	}
	return writeTable(s.out, unmet, []column[*jobv1.UnmetCondition]{
		left("NOT MET", (*jobv1.UnmetCondition).GetType),
		left("WHO", func(u *jobv1.UnmetCondition) string { return word(u.GetWho()) }),
		left("WHAT", (*jobv1.UnmetCondition).GetDescription),
		left("HOW", func(u *jobv1.UnmetCondition) string { return remedy(u.GetType(), n) }),
	})
}

func jobAdvance(o *options) *cobra.Command {
	var how, payer string
	command := &cobra.Command{
		Use:     "advance JOB AMOUNT",
		Short:   "Keep money received before the invoice",
		Example: "  ramprow job advance 17 200 --how cash",
		RunE: o.changeJob(func(ctx context.Context, s *session, job string, rest []string) (jobAnswer, string, error) {
			r, err := s.Job.GetJob(ctx, &jobv1.GetJobRequest{Job: job})
			if err != nil {
				return nil, "", err
			}
			currency := r.GetJob().GetPlan().GetLabourEstimate().GetCurrencyCode()
			if currency == "" {
				return nil, "", fmt.Errorf("%s has no plan yet, so there is no price to pay in advance; first: ramprow job confirm %s CAUSE…", job, number(job))
			}
			paid, err := parseMoney(rest[0], currency)
			if err != nil {
				return nil, "", err
			}
			kept, err := s.Billing.RecordAdvance(ctx, &jobv1.RecordAdvanceRequest{RequestId: s.once(), Job: job, Payer: payer, Amount: paid, How: how})
			return kept, fmt.Sprintf("%s received in advance by %s", money(paid), how), err
		}),
	}
	requireText(command, &how, "how", "card, cash, transfer …")
	command.Flags().StringVar(&payer, "payer", "", "who paid, if not the customer")
	return command
}

func jobCredit(o *options) *cobra.Command {
	var reason string
	var lines []uint
	command := &cobra.Command{
		Use:     "credit JOB INVOICE",
		Short:   "Issue a credit note over an invoice, all of it or some lines",
		Example: "  ramprow job credit 17 2026-000017 --reason 'part returned' --line 3",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, rest []string) error {
			req := &jobv1.CreditInvoiceRequest{RequestId: s.once(), Job: job, Invoice: rest[0], Reason: reason}
			for _, l := range lines {
				if l > 100_000 {
					return fmt.Errorf("--line %d is no line of an invoice", l)
				}
				req.Lines = append(req.Lines, uint32(l))
			}
			r, err := s.Billing.CreditInvoice(ctx, req)
			if err != nil {
				return err
			}
			c := r.GetCreditNote()
			return s.answer(r, fmt.Sprintf("%s: credit note %s over %s for invoice %s%s", job, c.GetNumber(), money(c.GetGross()), c.GetCredits(), repeated(r.GetReceipt())),
				"Next: ramprow invoice export "+number(job)+" "+c.GetNumber())
		}),
	}
	requireText(command, &reason, "reason", "why, as it stands on the credit note")
	command.Flags().UintSliceVar(&lines, "line", nil, "number of a line to take back; may be repeated; otherwise all that is left")
	return command
}

func jobCorrect(o *options) *cobra.Command {
	var reason string
	command := &cobra.Command{
		Use:     "correct JOB INVOICE FILE",
		Short:   "Credit what is left of an invoice and issue it anew, billed as the file says",
		Example: "  ramprow job correct 17 2026-000017 billing.yaml --reason 'discount forgotten'",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, rest []string) error {
			billing := &jobv1.Billing{}
			if err := readMessage(rest[1], billing); err != nil {
				return err
			}
			r, err := s.Billing.CorrectInvoice(ctx, &jobv1.CorrectInvoiceRequest{RequestId: s.once(), Job: job, Invoice: rest[0], Reason: reason, Billing: billing})
			if err != nil {
				return err
			}
			i := r.GetInvoice()
			return s.answer(r, fmt.Sprintf("%s: invoice %s over %s replaces %s%s", job, i.GetNumber(), money(i.GetGross()), rest[0], repeated(r.GetReceipt())))
		}),
	}
	requireText(command, &reason, "reason", "why, as it stands on the credit note")
	return command
}

// lookbackWords are the outcomes as people type them.
func lookbackWords() []string {
	var list []string
	for n := range len(jobv1.LookbackOutcome_name) - 1 {
		list = append(list, lookbackWord(jobv1.LookbackOutcome(n+1)))
	}
	return list
}

func lookbackWord(o jobv1.LookbackOutcome) string {
	return strings.ReplaceAll(strings.ToLower(strings.TrimPrefix(o.String(), "LOOKBACK_OUTCOME_")), "_", "-")
}

func jobLookback(o *options) *cobra.Command {
	command := &cobra.Command{
		Use:     "lookback JOB OUTCOME TEXT…",
		Short:   "Say what came of an audit that was re-opened after the job had closed",
		Long:    "OUTCOME is one of " + strings.Join(lookbackWords(), ", ") + ".",
		Example: "  ramprow job lookback 17 checked 'all bolts within the limits'",
		RunE: o.changeJob(func(ctx context.Context, s *session, job string, rest []string) (jobAnswer, string, error) {
			at := slices.Index(lookbackWords(), rest[0])
			if at < 0 {
				return nil, "", fmt.Errorf("%q is no outcome; use one of %s", rest[0], strings.Join(lookbackWords(), ", "))
			}
			outcome := jobv1.LookbackOutcome(at + 1) //nolint:gosec // a handful
			r, err := s.Billing.SettleLookback(ctx, &jobv1.SettleLookbackRequest{RequestId: s.once(), Job: job, Outcome: outcome, Note: strings.Join(rest[1:], " ")})
			return r, "the re-opened audit is settled: " + rest[0], err
		}),
	}
	return command
}
