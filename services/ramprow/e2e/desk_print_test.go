package e2e_test

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"ramprow/internal/platform/identity"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// Everything that goes out on paper is reached from a page, says what it must
// say, leaves the pages' own furniture behind, and becomes a PDF of at least one sheet.
func TestDeskPrints(t *testing.T) {
	w, _ := openTold(t, middle)
	newBrowser := openBrowsers(t)
	const job = "1"
	technician, clerk := newBrowser(w.Desk.URL()), newBrowser(w.Desk.URL())
	technician.signIn(w, "tomas", identity.Technician)
	technician.follow("/work/"+job, `a[href="/jobs/`+job+`/card"]`)
	technician.prints("card", "Job "+job, "Dangers", "The maker's data")
	technician.follow("/work/"+job, `a[href="/jobs/`+job+`/labels"]`)
	technician.prints("labels", "in use")
	technician.follow("/jobs/"+job, `a[href="/jobs/`+job+`/record"]`)
	technician.prints("record", "Tightening record", "Left to do", "not signed")
	clerk.signIn(w, "clara", identity.PartsClerk)
	clerk.open("/shelf/picks/" + job)
	clerk.prints("picklist", "Picking list, job "+job)
	clerk.open("/shelf/orders/1")
	clerk.prints("order", "Order 1", "Placed by")
}

// An invoice and its credit note are printed as they were issued, by those who may see money.
func TestDeskPrintsInvoices(t *testing.T) {
	w, ending := openTold(t, end)
	newBrowser := openBrowsers(t)
	number := ending.Invoice
	_, err := w.clients(t).Billing.CreditInvoice(w.as(t, site, "ines", identity.Owner), &jobv1.CreditInvoiceRequest{
		RequestId: "print-credit-1", Job: "jobs/1", Invoice: number, Reason: "agreed at the counter",
	})
	if err != nil {
		t.Fatal(err)
	}
	b := newBrowser(w.Desk.URL())
	b.signIn(w, "dario", identity.Dispatcher)
	b.follow("/jobs/1", `a[href="/jobs/1/invoices/`+number+`"]`)
	b.prints("invoice", "Invoice "+number, "RP-OR 16")
	b.follow("/jobs/1", `a[href^="/jobs/1/invoices/C"]`)
	b.prints("creditnote", "Credit note C", "For invoice "+number)

	g := newGuest(t, w)
	g.signIn(w, "dario", identity.Dispatcher)
	if status, body := g.get("/jobs/1/invoices/" + number + "/file"); status != 200 || !strings.Contains(body, "<cbc:ID>"+number+"</cbc:ID>") {
		t.Errorf("the invoice as a file gives %d %.200s", status, body)
	}
	g = newGuest(t, w)
	g.signIn(w, "tomas", identity.Technician)
	for _, path := range []string{"/jobs/1/invoices/" + number, "/jobs/1/invoices/" + number + "/file", "/shelf/orders/1", "/shelf/picks/1"} {
		if status, body := g.get(path); status != 403 || strings.Contains(body, "Marta") {
			t.Errorf("%s is shown to a technician: %d", path, status)
		}
	}
}

// follow opens a page and goes on by a link on it.
func (b *browser) follow(path, link string) {
	b.t.Helper()
	b.open(path)
	target := ask[string](b, "document.querySelector("+quoted(link)+")?.pathname ?? ''")
	if target == "" {
		b.t.Fatalf("%s has no link %s", path, link)
	}
	b.click(link)
	b.await("document.readyState == 'complete' && location.pathname == " + quoted(target))
}

var pdfPage = regexp.MustCompile(`/Type\s*/Page[^s]`)

// prints looks at a page as it is printed: on the screen with its button, and on paper without.
func (b *browser) prints(name string, says ...string) {
	b.t.Helper()
	b.accessible(name)
	b.picture("print-" + name)
	if !ask[bool](b, `[...document.querySelectorAll("style, link[rel=stylesheet]")].every(e => e.sheet)`) {
		b.t.Errorf("%s: the page's policy refuses its style", name)
	}
	ask[any](b, "window.print = () => { window.printed = true }; null")
	b.click("#print")
	b.await("window.printed")
	b.onPaper(true)
	defer b.onPaper(false)
	paper := ask[string](b, "document.body.innerText")
	for _, text := range says {
		if !strings.Contains(paper, text) {
			b.t.Errorf("%s: %q is not printed: %.300s", name, text, paper)
		}
	}
	if ask[bool](b, `[...document.querySelectorAll("button, .top, .printbar, form")].some(e => e.checkVisibility())`) {
		b.t.Errorf("%s: what belongs to the screen is printed", name)
	}
	b.keep("paper-"+name+".png", chromedp.FullScreenshot(100))
	preferred := true
	pdf := b.keep("paper-"+name+".pdf", func(ctx context.Context, _ *chromedp.Target) ([]byte, error) {
		r, err := chromedp.Call(ctx, page.PrintToPDF, page.PrintToPDFParams{PreferCSSPageSize: &preferred})
		return r.Data, err
	})
	if !bytes.HasPrefix(pdf, []byte("%PDF-")) || len(pdfPage.FindAll(pdf, -1)) == 0 {
		b.t.Errorf("%s: no page comes out: %.40q", name, pdf)
	}
}

// onPaper lets the page look as it does in print.
func (b *browser) onPaper(on bool) {
	b.t.Helper()
	media := ""
	if on {
		media = "print"
	}
	b.do(func(ctx context.Context, _ *chromedp.Target) (chromedp.Void, error) {
		_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: media})
		return chromedp.Void{}, err
	})
}

// keep writes what an action gives into the folder of pictures.
func (b *browser) keep(file string, action chromedp.Action[[]byte]) []byte {
	b.t.Helper()
	data, err := attempt(b, action)
	if err != nil {
		b.fail(err)
	}
	if err := os.WriteFile(filepath.Join("screenshots", file), data, 0o644); err != nil {
		b.t.Fatal(err)
	}
	return data
}
