package e2e_test

import (
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"ramprow/internal/platform/identity"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// stockKit lists two parts in two bins, and holds three pieces of them for a job
// that has been given everything else.
func stockKit(t *testing.T, w *workshop, job string) {
	t.Helper()
	shelf, ctx := w.clients(t).Inventory, w.as(t, site, "clara", identity.PartsClerk)
	if _, err := shelf.IssueParts(ctx, &inventoryv1.IssuePartsRequest{RequestId: "kit-rest-" + job, Job: "jobs/" + job}); err != nil {
		t.Fatal(err)
	}
	hold := &inventoryv1.HoldPartsRequest{RequestId: "kit-hold-" + job, Job: "jobs/" + job}
	for _, p := range []struct {
		number, bin string
		quantity    int64
	}{{"KIT-CLIP", "K-10", 1}, {"KIT-RING", "K-2", 2}} {
		_, err := shelf.SetPart(ctx, &inventoryv1.SetPartRequest{RequestId: "kit-set-" + p.number, Part: &inventoryv1.Part{
			Number: p.number, Title: "For the kit", Unit: commonv1.Unit_UNIT_PIECE, Bin: p.bin,
		}})
		if err != nil {
			t.Fatal(err)
		}
		_, err = shelf.ReceiveGoods(ctx, &inventoryv1.ReceiveGoodsRequest{
			RequestId: "kit-goods-" + p.number, Lines: []*inventoryv1.ReceivedLine{{Part: p.number, Quantity: p.quantity}},
		})
		if err != nil {
			t.Fatal(err)
		}
		hold.Lines = append(hold.Lines, &inventoryv1.WantedPart{Part: p.number, Quantity: p.quantity})
	}
	if _, err := shelf.HoldParts(ctx, hold); err != nil {
		t.Fatal(err)
	}
}

func onHand(t *testing.T, w *workshop, number string) int64 {
	t.Helper()
	r, err := w.clients(t).Inventory.ExplainPart(w.as(t, site, "clara", identity.PartsClerk), &inventoryv1.ExplainPartRequest{Part: number})
	if err != nil {
		t.Fatal(err)
	}
	return r.GetPart().GetOnHand()
}

// The clerk picks a kit without touching the mouse: what a scanner or a keyboard
// types goes to where it belongs, a wrong part is refused with what was expected,
// and Enter hands the whole over.
func TestDeskPicksByScanner(t *testing.T) {
	w, _ := openTold(t, middle)
	newBrowser := openBrowsers(t)
	const job = "1"
	stockKit(t, w, job)
	b := newBrowser(w.Desk.URL())
	b.signIn(w, "clara", identity.PartsClerk)
	b.open("/shelf/kits/" + job)
	b.accessible("kit")
	b.picture("kit")
	b.await(`document.activeElement.id === "code" && document.querySelector("#next").innerText.includes("K-2")`)
	scan := func(code, then string) {
		t.Helper()
		b.await(`document.readyState === "complete"`) // nobody scans at a page that he does not see yet
		b.do(chromedp.KeyEvent(code), chromedp.KeyEvent(kb.Enter))
		b.await(then)
	}
	// What is typed before the field has the focus is not lost.
	b.do(chromedp.Evaluate[chromedp.Void](`document.activeElement.blur();
			for (const key of "KIT") document.body.dispatchEvent(new KeyboardEvent("keydown", {key, bubbles: true}));
			document.querySelector("#code").focus(); null`))
	if got := ask[string](b, `document.querySelector("#code").value`); got != "KIT" {
		t.Errorf("of KIT the field got %q", got)
	}
	scan("-CLIP", `document.querySelector("#next").innerText.includes("2 × KIT-RING") && document.querySelector(".done")`)
	scan("KIT-CLIP", `document.querySelector(".problem")?.innerText.includes("expected is KIT-RING")`)
	scan("KIT-RING", `document.querySelector("#next").innerText.includes("1 × KIT-RING")`)
	scan("KIT-RING", `document.activeElement.id === "hand-over"`)
	b.do(chromedp.KeyEvent(kb.Enter))
	b.await(`location.pathname === "/shelf" && document.querySelector(".done")`)
	if n := onHand(t, w, "KIT-RING"); n != 0 {
		t.Errorf("%d are on hand after the kit was handed over", n)
	}
}

// The same with the mouse: undo, an empty bin, and a kit that waits for its job.
func TestDeskPicksByMouse(t *testing.T) {
	w, _ := openTold(t, middle)
	newBrowser := openBrowsers(t)
	const job = "1"
	stockKit(t, w, job)
	b := newBrowser(w.Desk.URL())
	b.signIn(w, "clara", identity.PartsClerk)
	b.open("/shelf")
	b.do(chromedp.Evaluate[chromedp.Void](`document.querySelector("#kit-` + job + `").closest("details").open = true; null`))
	b.click("#kit-" + job)
	b.await(`document.readyState == "complete" && location.pathname === "/shelf/kits/` + job + `"`)
	b.enter("#code", "KIT-RING")
	b.click("button.main")
	b.await(`document.querySelector("#next").innerText.includes("1 × KIT-RING")`)
	b.click(`form[action$="/away"] button`)
	b.await(`document.querySelector("#next").innerText.includes("2 × KIT-RING")`)
	b.enter("#code", "KIT-RING")
	b.click("button.main")
	b.await(`document.querySelector("#next").innerText.includes("1 × KIT-RING")`)
	b.click("details summary")
	b.do(chromedp.SetValue("#cause", "COUNT_CAUSE_UNKNOWN"))
	b.click("#short")
	b.await(`document.querySelector("#next").innerText.includes("KIT-CLIP")`)
	if n := onHand(t, w, "KIT-RING"); n != 1 {
		t.Errorf("the book says %d, and one was found", n)
	}
	b.enter("#code", "KIT-CLIP")
	b.click("button.main")
	b.await(`document.querySelector("#next").innerText.includes("picked")`)
	b.enter("#place", "trolley 2")
	b.click("#hand-over")
	b.await(`document.querySelector("#staged")?.innerText.includes("trolley 2")`)
	b.open("/shelf")
	b.await(`document.body.innerText.includes("To count")`)
	b.accessible("shelf-counts")
}
