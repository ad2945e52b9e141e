package terminal

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/spf13/cobra"

	"ramprow/internal/engine/billing/en16931"
	"ramprow/internal/engine/billing/invoicetest"
	"ramprow/internal/engine/billing/ubl"
)

// invoiceRun carries out one of the invoice commands.
func invoiceRun(t *testing.T, args ...string) (string, error) {
	t.Helper()
	root := &cobra.Command{Use: "ramprow", SilenceErrors: true, SilenceUsage: true}
	root.AddCommand(Commands()...)
	var out bytes.Buffer
	root.SetOut(&out)
	root.SetErr(&out)
	root.SetArgs(append([]string{"invoice"}, args...))
	err := root.ExecuteContext(t.Context())
	return out.String(), err
}

func file(t *testing.T, name string, data []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestInvoiceValidate(t *testing.T) {
	good := ubl.Write(invoicetest.Good())
	bad := bytes.Replace(good, []byte(">211.84</cbc:PayableAmount>"), []byte(">211.85</cbc:PayableAmount>"), 1)
	if bytes.Equal(good, bad) {
		t.Fatal("nothing was changed")
	}
	asJSON, err := en16931.WriteJSON(invoicetest.Good())
	if err != nil {
		t.Fatal(err)
	}
	private := invoicetest.Good()
	private.Specification, private.Process, private.Buyer.Endpoint = "urn:cen.eu:en16931:2017", "", nil
	core := ubl.Write(private)
	tests := []struct {
		name  string
		data  []byte
		args  []string
		says  string
		fails string
	}{
		{"a valid document", good, nil, "valid by EN 16931", ""},
		{"the same as JSON", asJSON, nil, "valid by EN 16931", ""},
		{"one that is not for Peppol", core, nil, "valid by EN 16931; it names no Peppol", ""},
		{"the same, for Peppol after all", core, []string{"--peppol"}, "PEPPOL-EN16931-R010", "not valid"},
		{"a wrong total", bad, nil, "BR-CO-16", "1 document of 1 not valid"},
		{"findings for programs", bad, []string{"--output", "json"}, `"rule":"BR-CO-16"`, "not valid"},
		{"no invoice", []byte("<a/>"), nil, "", "no UBL 2.1 invoice"},
		{"schematron source", good, []string{"--rules", "rules.sch"}, "", "schematron source"},
		{"a schema that is not there", good, []string{"--schema", "none.xsd"}, "", "reading the schema"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			out, err := invoiceRun(t, append([]string{"validate", file(t, "invoice.xml", tt.data)}, tt.args...)...)
			if !strings.Contains(out, tt.says) || (err != nil) != (tt.fails != "") {
				t.Errorf("got %v\n%s", err, out)
			}
			if err != nil && !strings.Contains(err.Error(), tt.fails) {
				t.Errorf("got %v, want %q", err, tt.fails)
			}
		})
	}
}

func TestInvoiceWrite(t *testing.T) {
	source := file(t, "invoice.xml", ubl.Write(invoicetest.Good()))
	asJSON, err := invoiceRun(t, "write", source, "--as-format", "json")
	if err != nil {
		t.Fatal(err)
	}
	back, err := invoiceRun(t, "write", file(t, "invoice.json", []byte(asJSON)))
	if err != nil || back != string(ubl.Write(invoicetest.Good())) {
		t.Errorf("the way over JSON changed the document: %v\n%s", err, back)
	}
	page, err := invoiceRun(t, "write", source, "--as-format", "html")
	if err != nil || !strings.HasPrefix(page, "<!DOCTYPE html>") {
		t.Errorf("got %v\n%.80s", err, page)
	}
	if _, err := invoiceRun(t, "write", source, "--as-format", "pdf"); err == nil {
		t.Error("an unknown form was written")
	}
}

// The caller's own schema and rules: what the tools say becomes findings, and a
// tool that is not there is an error.
func TestInvoiceOutsideChecks(t *testing.T) {
	schema, rules := file(t, "a.xsd", []byte("x")), file(t, "a.xslt", []byte("x"))
	const svrl = `<svrl:schematron-output xmlns:svrl="http://purl.oclc.org/dsdl/svrl"><svrl:failed-assert id="BR-CO-15" flag="fatal" location="/Invoice">
		<svrl:text>[BR-CO-15] sum</svrl:text></svrl:failed-assert><svrl:failed-assert id="X" flag="warning"><svrl:text>y</svrl:text></svrl:failed-assert></svrl:schematron-output>`
	failed := errors.New("exit status 3")
	tests := []struct {
		name  string
		check outsideChecks
		tools string
		out   string
		err   error
		rule  string
		says  string
	}{
		{"schema kept", outsideChecks{schema: schema}, "xmllint", "f validates", nil, "", ""},
		{"schema broken", outsideChecks{schema: schema}, "xmllint", "f:7: element ID: Schemas validity error : not expected\nf fails to validate", failed, "XSD", ""},
		{"schema unreadable", outsideChecks{schema: schema}, "xmllint", "failed to load", failed, "", "could not check"},
		{"no xmllint", outsideChecks{schema: schema}, "", "", nil, "", "xmllint is not installed"},
		{"rules broken", outsideChecks{rules: []string{rules}}, "saxon", svrl, nil, "BR-CO-15", ""},
		{"rules without report", outsideChecks{rules: []string{rules}}, "saxon", "<html/>", nil, "", "no schematron report"},
		{"saxon fails", outsideChecks{rules: []string{rules}}, "saxon", "boom", failed, "", "could not run"},
		{"no saxon", outsideChecks{rules: []string{rules}}, "", "", nil, "", "saxon is not installed"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Setenv(SaxonVariable, "")
			tt.check.run = func(context.Context, string, ...string) ([]byte, error) { return []byte(tt.out), tt.err }
			tt.check.find = func(names ...string) string {
				if tt.tools != "" && strings.HasPrefix(names[0], tt.tools) {
					return tt.tools
				}
				return ""
			}
			findings, err := tt.check.check(t.Context(), "f")
			if (err != nil) != (tt.says != "") || err != nil && !strings.Contains(err.Error(), tt.says) {
				t.Fatalf("got %v, want %q", err, tt.says)
			}
			if (len(findings) > 0) != (tt.rule != "") || len(findings) > 0 && (findings[0].Rule != tt.rule || en16931.Valid(findings)) {
				t.Errorf("got %v, want %s", findings, tt.rule)
			}
		})
	}
}
