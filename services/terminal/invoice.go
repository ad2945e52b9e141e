package terminal

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"ramprow/internal/engine/billing/en16931"
	"ramprow/internal/engine/billing/invoicepage"
	"ramprow/internal/engine/billing/ubl"
)

func invoiceCommands() *cobra.Command {
	return tree("invoice", "Invoices as documents: check, write and export them",
		"  ramprow invoice validate invoice.xml\n  ramprow invoice write invoice.xml --as-format html > invoice.html",
		invoiceValidate, invoiceWrite, invoiceExport, invoiceSeller, invoiceSellerSet,
	)
}

func invoiceValidate(o *options) *cobra.Command {
	var schema string
	var rules []string
	var peppol bool
	command := &cobra.Command{
		Use:   "validate FILE…",
		Short: "Check invoices by the rules of EN 16931, and of Peppol BIS Billing 3.0 if they name it; needs no server",
		Long: "Checks UBL 2.1 invoices and credit notes, or invoices as JSON, and names every rule that is broken with its\n" +
			"field. With --schema the UBL schema is tried too (by xmllint), with --rules compiled schematron files as the\n" +
			"standard's publishers issue them (XSLT, by Saxon): your own copies, which are not part of this program.",
		Example: "  ramprow invoice validate invoice.xml\n  ramprow invoice validate invoice.xml --schema UBL-Invoice-2.1.xsd --rules EN16931-UBL-validation.xslt",
		RunE: func(command *cobra.Command, args []string) error {
			if err := o.check(); err != nil {
				return err
			}
			s := &session{out: command.OutOrStdout(), json: o.output == outputJSON}
			outside := outsideChecks{schema: schema, rules: rules, run: runTool, find: findTool}
			bad := 0
			for _, file := range args {
				i, findings, err := readChecked(file)
				if err != nil {
					return err
				}
				if peppol || i.Peppol() {
					findings = append(findings, en16931.Check(i)...)
				} else {
					findings = append(findings, en16931.CheckCore(i)...)
				}
				more, err := outside.check(command.Context(), file)
				if err != nil {
					return err
				}
				findings = append(findings, more...)
				if !en16931.Valid(findings) {
					bad++
				}
				if err := s.showFindings(file, findings, i.Peppol()); err != nil {
					return err
				}
			}
			if bad > 0 {
				return fmt.Errorf("%s of %d not valid; correct what is fatal and check again", plural(bad, "document"), len(args))
			}
			return nil
		},
	}
	command.Flags().BoolVar(&peppol, "peppol", false, "demand the rules of Peppol also of a document that does not name Peppol")
	command.Flags().StringVar(&schema, "schema", "", "XSD file of UBL 2.1 for this kind of document; wants xmllint")
	command.Flags().StringArrayVar(&rules, "rules", nil, "compiled schematron (XSLT) to run as well; wants Saxon; may be repeated")
	return command
}

// readChecked reads one file, with what is wrong with the file itself.
func readChecked(file string) (*en16931.Invoice, []en16931.Finding, error) {
	data, err := readInvoice(file)
	if err != nil {
		return nil, nil, err
	}
	if isJSON(data) {
		i, err := en16931.ReadJSON(data)
		if err != nil {
			return nil, nil, fmt.Errorf("%s: %w", file, err)
		}
		return i, nil, nil
	}
	d, err := ubl.Read(data)
	if err != nil {
		return nil, nil, fmt.Errorf("%s: %w", file, err)
	}
	return d.Invoice, d.Findings, nil
}

// readInvoice reads a file whole, up to what an invoice may be large.
func readInvoice(file string) ([]byte, error) {
	f, err := os.Open(file) //nolint:gosec // the caller's own file
	if err != nil {
		return nil, fmt.Errorf("reading the invoice: %w", err)
	}
	defer func() { _ = f.Close() }()
	data, err := io.ReadAll(io.LimitReader(f, ubl.MaxBytes+1))
	if err != nil {
		return nil, fmt.Errorf("reading the invoice: %w", err)
	}
	return data, nil
}

func isJSON(data []byte) bool { return bytes.HasPrefix(bytes.TrimSpace(data), []byte("{")) }

// fileFinding is a finding with its file, as programs get it.
type fileFinding struct {
	File string `json:"file"`
	en16931.Finding
}

func (s *session) showFindings(file string, findings []en16931.Finding, peppol bool) error {
	if s.json {
		for _, f := range findings {
			encoder := json.NewEncoder(s.out)
			encoder.SetEscapeHTML(false)
			if err := encoder.Encode(fileFinding{file, f}); err != nil {
				return err
			}
		}
		return nil
	}
	if len(findings) == 0 {
		if !peppol {
			return s.say("%s: valid by EN 16931; it names no Peppol process, so it goes to its buyer another way", file)
		}
		return s.say("%s: valid by EN 16931 and Peppol BIS Billing 3.0", file)
	}
	verdict := "not valid"
	if en16931.Valid(findings) {
		verdict = "valid, with warnings"
	}
	if err := s.say("%s: %s", file, verdict); err != nil {
		return err
	}
	return writeTable(s.out, findings, []column[en16931.Finding]{
		left("RULE", func(f en16931.Finding) string { return f.Rule }),
		left("SEVERITY", func(f en16931.Finding) string { return string(f.Severity) }),
		left("FIELD", func(f en16931.Finding) string { return f.Field }),
		left("WHAT", func(f en16931.Finding) string { return f.Text }),
	})
}

// The forms of a document.
const (
	formUBL  = "ubl"
	formJSON = "json"
	formHTML = "html"
)

func invoiceWrite(*options) *cobra.Command {
	var form string
	command := &cobra.Command{
		Use:     "write FILE",
		Short:   "Write an invoice, read from UBL or JSON, as UBL, JSON or a page for print; needs no server",
		Example: "  ramprow invoice write invoice.json > invoice.xml\n  ramprow invoice write invoice.xml --as-format html > invoice.html",
		RunE: func(command *cobra.Command, args []string) error {
			data, err := readInvoice(args[0])
			if err != nil {
				return err
			}
			i, err := anyInvoice(data)
			if err != nil {
				return fmt.Errorf("%s: %w", args[0], err)
			}
			if findings := en16931.CheckDeclared(i); !en16931.Valid(findings) {
				return fmt.Errorf("%s is not valid, first: %s; all of it: ramprow invoice validate %s", args[0], findings[0], args[0])
			}
			return writeInvoice(command.OutOrStdout(), i, form)
		},
	}
	bindForm(command, &form)
	return command
}

func bindForm(command *cobra.Command, form *string) {
	command.Flags().StringVar(form, "as-format", formUBL, "ubl (UBL 2.1, Peppol BIS Billing 3.0), json or html")
	completeFlag(command, "as-format", formUBL, formJSON, formHTML)
}

func anyInvoice(data []byte) (*en16931.Invoice, error) {
	if isJSON(data) {
		return en16931.ReadJSON(data)
	}
	d, err := ubl.Read(data)
	if err != nil {
		return nil, err
	}
	if !en16931.Valid(d.Findings) {
		return nil, errors.New(d.Findings[0].String())
	}
	return d.Invoice, nil
}

// writeInvoice writes a document in one of its forms.
func writeInvoice(out io.Writer, i *en16931.Invoice, form string) error {
	var text []byte
	var err error
	switch strings.ToLower(form) {
	case formUBL:
		text = ubl.Write(i)
	case formJSON:
		text, err = en16931.WriteJSON(i)
	case formHTML:
		text, err = invoicepage.Write(i)
	default:
		return fmt.Errorf("--as-format %q is unknown; use ubl, json or html", form)
	}
	if err != nil {
		return err
	}
	_, err = out.Write(text)
	return err
}
