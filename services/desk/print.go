package desk

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/base64"
	"html/template"
	"regexp"
	"slices"

	"ramprow/internal/jobcard"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

// printBar stands above a document on the screen, and is not printed.
var printBar = template.Must(template.New("bar").Parse(
	`<link rel="stylesheet" href="{{.Style}}"><script src="{{.Script}}" defer></script>` +
		`<nav class="printbar" aria-label="{{.Name}}"><a href="{{.Back}}">{{.BackWord}}</a> <button id="print" type="button">{{.PrintWord}}</button></nav>`,
))

// document shows a page for print that was made elsewhere, as it is, with a bar
// above it. Its own style is let through by its hash, and nothing else of it.
func (v *visit) document(page []byte, back string) error {
	var bar bytes.Buffer
	if err := printBar.Execute(&bar, map[string]string{
		"Style": v.d.asset("print.css"), "Script": v.d.asset("print.js"), "Back": back,
		"Name": v.d.words.say("nav"), "BackWord": v.d.words.say("print.back"), "PrintWord": v.d.words.say("print.go"),
	}); err != nil {
		return err
	}
	v.w.Header().Set("Content-Security-Policy", policyFor(page))
	v.w.Header().Set("Content-Type", "text/html; charset=utf-8")
	v.w.Header().Set("Cache-Control", "no-store")
	v.write(bytes.Replace(page, []byte("<body>"), append([]byte("<body>\n"), bar.Bytes()...), 1))
	return nil
}

// metaPolicy is what a document that is sent as a file says for itself; here the answer's own policy is stricter.
var metaPolicy = regexp.MustCompile(`<meta http-equiv="Content-Security-Policy"[^>]*>`)

// policyFor lets a document's first style element through, by its hash (Content Security Policy Level 3).
func policyFor(page []byte) string {
	_, rest, found := bytes.Cut(page, []byte("<style>"))
	style, _, closed := bytes.Cut(rest, []byte("</style>"))
	if !found || !closed {
		return policy("'self'")
	}
	sum := sha256.Sum256(style)
	return policy("'self' 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'")
}

// showCard prints the job card with its tray labels; showLabels the labels alone.
func (d *Desk) showCard(v *visit) error   { return d.printJob(v, false) }
func (d *Desk) showLabels(v *visit) error { return d.printJob(v, true) }

func (d *Desk) printJob(v *visit, labels bool) error {
	r, err := d.Services.Job.GetJob(v.ctx, &jobv1.GetJobRequest{Job: v.job(), MinRevision: v.at()})
	if err != nil {
		return err
	}
	var page bytes.Buffer
	if err := jobcard.Write(&page, r.GetJob(), jobcard.Options{LabelsOnly: labels, Printed: d.Now().In(d.Zone)}); err != nil {
		return err
	}
	return v.document(page.Bytes(), "/"+r.GetJob().GetName())
}

func (d *Desk) showRecord(v *visit) error {
	r, err := d.Services.Audit.GetTighteningRecord(v.ctx, &torqueauditv1.GetTighteningRecordRequest{Job: v.job(), MinRevision: v.at(), WithHtml: true})
	if err != nil {
		return err
	}
	return v.document(metaPolicy.ReplaceAll([]byte(r.GetHtml()), nil), "/"+v.job())
}

// showInvoice prints an invoice or a credit note as it was issued.
func (d *Desk) showInvoice(v *visit) error {
	r, err := d.Services.Billing.GetInvoiceDocument(v.ctx, &jobv1.GetInvoiceDocumentRequest{
		Job: v.job(), Number: v.r.PathValue("number"), Form: jobv1.DocumentForm_DOCUMENT_FORM_HTML,
	})
	if err != nil {
		return err
	}
	return v.document(r.GetDocument(), "/"+v.job())
}

// sendInvoiceFile gives an invoice as the structured document that programs read.
func (d *Desk) sendInvoiceFile(v *visit) error {
	r, err := d.Services.Billing.GetInvoiceDocument(v.ctx, &jobv1.GetInvoiceDocumentRequest{
		Job: v.job(), Number: v.r.PathValue("number"), Form: jobv1.DocumentForm_DOCUMENT_FORM_UBL,
	})
	if err != nil {
		return err
	}
	v.w.Header().Set("Content-Type", r.GetMediaType())
	v.w.Header().Set("Content-Disposition", `attachment; filename="`+r.GetNumber()+`.xml"`)
	v.w.Header().Set("Cache-Control", "no-store")
	v.write(r.GetDocument())
	return nil
}

// showOrder is a purchase order as it goes to the supplier.
func (d *Desk) showOrder(v *visit) error {
	r, err := d.Services.Inventory.GetOrder(v.ctx, &inventoryv1.GetOrderRequest{Order: "orders/" + v.r.PathValue("order"), MinRevision: v.at()})
	if err != nil {
		return err
	}
	view := orderView{Order: r.GetOrder(), Titles: map[string]*inventoryv1.Part{}}
	for _, line := range view.Order.GetLines() {
		p, err := d.Services.Inventory.GetPart(v.ctx, &inventoryv1.GetPartRequest{Part: line.GetPart()})
		if err != nil {
			return err
		}
		view.Titles[line.GetPart()] = p.GetPart()
	}
	return v.render("order", view)
}

// orderView is an order with what its parts are called.
type orderView struct {
	Order  *inventoryv1.Order
	Titles map[string]*inventoryv1.Part
}

// pickView is what to fetch for a job, by bin.
type pickView struct {
	Hold  *inventoryv1.Hold
	Ready []*inventoryv1.HoldLine
	Short []*inventoryv1.HoldLine
}

// showPick is the picking list of a job.
func (d *Desk) showPick(v *visit) error {
	r, err := d.Services.Inventory.GetHold(v.ctx, &inventoryv1.GetHoldRequest{Job: v.job(), MinRevision: v.at()})
	if err != nil {
		return err
	}
	view := pickView{Hold: r.GetHold()}
	for _, line := range r.GetHold().GetLines() {
		switch line.GetState() {
		case inventoryv1.LineState_LINE_STATE_HELD:
			view.Ready = append(view.Ready, line)
		case inventoryv1.LineState_LINE_STATE_SHORT:
			view.Short = append(view.Short, line)
		default:
		}
	}
	slices.SortStableFunc(view.Ready, byBin)
	return v.render("picklist", view)
}

func byBin(a, b *inventoryv1.HoldLine) int {
	return cmp.Or(cmp.Compare(a.GetBin(), b.GetBin()), cmp.Compare(a.GetPart(), b.GetPart()))
}
