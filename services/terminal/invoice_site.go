package terminal

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

func invoiceSeller(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "seller",
		Short:   "Show who the workshop is on its invoices",
		Example: "  ramprow invoice seller",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			r, err := s.Billing.GetSeller(ctx, &jobv1.GetSellerRequest{})
			if err != nil {
				return err
			}
			if s.json {
				return s.showJSON(r.GetSeller())
			}
			if r.GetSeller() == nil {
				return s.say("No seller yet, so invoices are no structured documents. The owner sets it: ramprow invoice seller-set FILE")
			}
			p, c := r.GetSeller().GetParty(), &card{}
			c.add("Name", p.GetName())
			c.add("Address", strings.Join(strings.Fields(p.GetStreet()+" "+p.GetPostCode()+" "+p.GetCity()+" "+p.GetCountry()), " "))
			c.add("VAT", p.GetVatId())
			c.add("Tax number", p.GetTaxId())
			c.add("Electronic address", strings.TrimPrefix(p.GetEndpointScheme()+":"+p.GetEndpoint(), ":"))
			c.add("Account", r.GetSeller().GetIban())
			c.add("Due after", plural(r.GetSeller().GetPaymentDays(), "day"))
			return c.write(s.out)
		}),
	}
}

func invoiceSellerSet(o *options) *cobra.Command {
	return &cobra.Command{
		Use:   "seller-set FILE",
		Short: "Say who the workshop is on its invoices, from a YAML or JSON file",
		Long: "From then on a job closes only with an invoice that EN 16931 accepts. The file:\n\n" +
			"  party:\n" +
			"    name: Workshop Ltd\n    street: Lane 1\n    city: Example\n    postCode: '1010'\n    country: AT\n" +
			"    vatId: ATU12345678\n    endpoint: '7300010000001'\n    endpointScheme: '0088'\n" +
			"  iban: AT611904300234573201\n" +
			"  paymentDays: 14",
		Example: "  ramprow invoice seller-set workshop.yaml --as owner",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			seller := &jobv1.Seller{}
			if err := readMessage(args[0], seller); err != nil {
				return err
			}
			r, err := s.Billing.SetSeller(ctx, &jobv1.SetSellerRequest{RequestId: s.once(), Seller: seller})
			if err != nil {
				return err
			}
			return s.answer(r, r.GetSeller().GetParty().GetName()+" stands on invoices from now on"+repeated(r.GetReceipt()))
		}),
	}
}

func invoiceExport(o *options) *cobra.Command {
	var form string
	command := &cobra.Command{
		Use:     "export JOB [NUMBER]",
		Short:   "Write an issued invoice or credit note as UBL, JSON or a page for print",
		Example: "  ramprow invoice export 17 > invoice.xml\n  ramprow invoice export 17 C2026-000003 --as-format html > credit.html",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, rest []string) error {
			forms := map[string]jobv1.DocumentForm{
				formUBL: jobv1.DocumentForm_DOCUMENT_FORM_UBL, formJSON: jobv1.DocumentForm_DOCUMENT_FORM_JSON, formHTML: jobv1.DocumentForm_DOCUMENT_FORM_HTML,
			}
			wanted, ok := forms[form]
			if !ok {
				return fmt.Errorf("--as-format %q is unknown; use ubl, json or html", form)
			}
			r, err := s.Billing.GetInvoiceDocument(ctx, &jobv1.GetInvoiceDocumentRequest{Job: job, Number: strings.Join(rest, ""), Form: wanted})
			if err != nil {
				return err
			}
			if s.json {
				return s.showJSON(r)
			}
			_, err = s.out.Write(r.GetDocument())
			return err
		}),
	}
	bindForm(command, &form)
	return command
}
