package terminal

import (
	"context"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

func jobAuthorise(o *options) *cobra.Command {
	var by, how string
	command := &cobra.Command{
		Use:     "authorise JOB AMOUNT",
		Short:   "Keep the customer's word up to an amount, without tax",
		Example: "  ramprow job authorise 17 850 --by 'Marta Quell' --how telephone",
		RunE: o.changeJob(func(ctx context.Context, s *session, job string, rest []string) (jobAnswer, string, error) {
			r, err := s.Job.GetJob(ctx, &jobv1.GetJobRequest{Job: job})
			if err != nil {
				return nil, "", err
			}
			currency := r.GetJob().GetPlan().GetLabourEstimate().GetCurrencyCode()
			if currency == "" {
				return nil, "", fmt.Errorf("%s has no plan yet, so there is nothing to authorise; first: ramprow job confirm %s CAUSE…", job, number(job))
			}
			upTo, err := parseMoney(rest[0], currency)
			if err != nil {
				return nil, "", err
			}
			given, err := s.Job.AuthoriseWork(ctx, &jobv1.AuthoriseWorkRequest{RequestId: s.once(), Job: job, UpTo: upTo, GivenBy: by, How: how})
			return given, fmt.Sprintf("%s authorises up to %s without tax", by, money(upTo)), err
		}),
	}
	requireText(command, &by, "by", "who gave it")
	requireText(command, &how, "how", "telephone, in person, in writing …")
	return command
}

func jobBill(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "bill JOB",
		Short:   "Show the invoice as it would be, and what keeps it from being closed",
		Example: "  ramprow job bill 17",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, _ []string) error {
			r, err := s.Job.PreviewInvoice(ctx, &jobv1.PreviewInvoiceRequest{Job: job, MinRevision: s.atLeast})
			if err != nil {
				return err
			}
			if s.json {
				return s.showJSON(r)
			}
			if err := s.showInvoice(r.GetInvoice()); err != nil {
				return err
			}
			return s.showUnmet(r, number(job))
		}),
	}
}

func (s *session) showInvoice(i *jobv1.Invoice) error {
	if i == nil {
		return s.say("There is nothing to bill yet.")
	}
	if err := writeTable(s.out, i.GetLines(), invoiceColumns()); err != nil {
		return err
	}
	c := &card{}
	c.add("Net", money(i.GetNet()))
	for _, t := range i.GetTaxes() {
		c.add(fmt.Sprintf("Tax %s", percent(t.GetRateBasisPoints())), money(t.GetTax()))
	}
	c.add("Total", money(i.GetGross()))
	if i.GetPrepaid() != nil {
		c.add("Paid before", money(i.GetPrepaid()))
	}
	if i.GetRounding() != nil {
		c.add("Rounding", money(i.GetRounding()))
	}
	if i.GetPayable() != nil && i.GetPayable().GetMinorUnits() != i.GetGross().GetMinorUnits() {
		c.add("To pay", money(i.GetPayable()))
	}
	if i.GetPaid().GetMinorUnits() != 0 {
		c.add("Paid", money(i.GetPaid()))
	}
	c.add("Invoice", i.GetNumber())
	if err := s.say(""); err != nil {
		return err
	}
	return c.write(s.out)
}

// percent writes hundredths of a percent.
func percent(basisPoints uint32) string {
	return fmt.Sprintf("%g %%", float64(basisPoints)/100)
}

func invoiceColumns() []column[*jobv1.InvoiceLine] {
	return []column[*jobv1.InvoiceLine]{
		left("FOR", func(l *jobv1.InvoiceLine) string { return word(l.GetKind()) }),
		left("WHAT", (*jobv1.InvoiceLine).GetTitle),
		left("REFERENCE", (*jobv1.InvoiceLine).GetReference),
		figure("QUANTITY", func(l *jobv1.InvoiceLine) string { return fmt.Sprintf("%d %s", l.GetQuantity(), l.GetUnit()) }),
		figure("TAX", func(l *jobv1.InvoiceLine) string { return percent(l.GetTaxRateBasisPoints()) }),
		figure("NET", func(l *jobv1.InvoiceLine) string { return money(l.GetNet()) }),
	}
}

func (s *session) showUnmet(r *jobv1.PreviewInvoiceResponse, n string) error {
	if r.GetInvoice().GetNumber() != "" {
		return nil
	}
	if len(r.GetUnmet()) == 0 {
		return s.say("\nEverything is met. Next: ramprow job close %s", n)
	}
	if err := s.say("\nNot yet, because:"); err != nil {
		return err
	}
	return writeTable(s.out, r.GetUnmet(), []column[*jobv1.UnmetCondition]{
		left("NOT MET", (*jobv1.UnmetCondition).GetType),
		left("WHO", func(u *jobv1.UnmetCondition) string { return word(u.GetWho()) }),
		left("WHAT", (*jobv1.UnmetCondition).GetDescription),
		left("HOW", func(u *jobv1.UnmetCondition) string { return remedy(u.GetType(), n) }),
	})
}

func jobClose(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "close JOB",
		Short:   "Give the invoice its number and close the job",
		Example: "  ramprow job close 17",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, _ []string) error {
			r, err := s.Job.CloseInvoice(ctx, &jobv1.CloseInvoiceRequest{RequestId: s.once(), Job: job})
			if err != nil {
				return err
			}
			i := r.GetInvoice()
			return s.answer(r, fmt.Sprintf("%s: invoice %s over %s%s", job, i.GetNumber(), money(i.GetGross()), repeated(r.GetReceipt())),
				nextLine(nextPayment(&jobv1.Job{Invoice: i}, number(job))))
		}),
	}
}

func jobPay(o *options) *cobra.Command {
	var how, invoice string
	command := &cobra.Command{
		Use:     "pay JOB AMOUNT",
		Short:   "Keep money received for a closed invoice",
		Example: "  ramprow job pay 17 1019.80 --how card",
		RunE: o.changeJob(func(ctx context.Context, s *session, job string, rest []string) (jobAnswer, string, error) {
			r, err := s.Job.GetJob(ctx, &jobv1.GetJobRequest{Job: job, MinRevision: s.atLeast})
			if err != nil {
				return nil, "", err
			}
			currency := r.GetJob().GetInvoice().GetGross().GetCurrencyCode()
			if currency == "" {
				return nil, "", errors.New(job + " has no invoice yet; first: ramprow job close " + number(job))
			}
			paid, err := parseMoney(rest[0], currency)
			if err != nil {
				return nil, "", err
			}
			kept, err := s.Job.RecordPayment(ctx, &jobv1.RecordPaymentRequest{RequestId: s.once(), Job: job, Amount: paid, How: how, Invoice: invoice})
			return kept, fmt.Sprintf("%s received by %s", money(paid), how), err
		}),
	}
	requireText(command, &how, "how", "card, cash, transfer …")
	command.Flags().StringVar(&invoice, "invoice", "", "number of the invoice, if the job has several")
	return command
}
