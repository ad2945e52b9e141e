package e2e_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"ramprow/internal/platform/identity"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// The dispatcher moves a booking with the mouse, sees what that does before he
// lets go, and takes it back; and does the same with nothing but the keyboard.
func TestDeskDispatcherMovesABooking(t *testing.T) {
	w := openWorkshopAt(t, t.TempDir(), nil, inTheMorning())
	w.tell(t)
	job := strings.TrimPrefix(w.diagnosed(t).GetName(), "jobs/")
	newBrowser := openBrowsers(t)
	b, other := newBrowser(w.Desk.URL()), newBrowser(w.Desk.URL())
	b.signIn(w, "dario", identity.Dispatcher)
	other.signIn(w, "edda", identity.Dispatcher)
	other.open("/bays")
	b.open("/bays")
	b.await("document.querySelector('#bar-" + job + "')")
	b.picture("bays-booked")
	b.accessible("bays-booked")
	b.open("/jobs/" + job)
	b.enter("[name=priority]", "7")
	b.enter("[name=reason]", "he drives on holiday")
	b.accessible("appointment")
	b.picture("appointment")
	b.click(`[action="/jobs/` + job + `/appointment"] button`)
	b.await("document.querySelector('.done')")
	w.settled(t, site)
	if got := w.booking(t, job).GetPriority(); got != 7 {
		t.Errorf("the bays know of priority %d, want 7", got)
	}
	b.open("/bays")
	before := w.booking(t, job).GetBay()
	wanted := "bays/3"
	if before == wanted {
		wanted = "bays/2"
	}

	x, y := b.place("#bar-" + job + " rect")
	_, toY := b.place(`g[data-bay="` + wanted + `"] rect.lane`)
	b.do(chromedp.MouseEvent(chromedp.MousePressed, x, y, chromedp.ButtonLeft, chromedp.ClickCount(1)))
	for step := range 5 {
		b.do(chromedp.MouseEvent(chromedp.MouseMoved, x+90*float64(step+1)/5, y+(toY-y)*float64(step+1)/5, chromedp.ButtonLeft))
	}
	b.await("!document.querySelector('#preview').hidden")
	if told := b.text("#preview"); !strings.Contains(told, "moves") {
		t.Errorf("before letting go the page says %q", told)
	}
	b.picture("bays-dragged")
	b.do(chromedp.MouseEvent(chromedp.MouseReleased, x+90, toY, chromedp.ButtonLeft, chromedp.ClickCount(1)))
	b.await("document.querySelector('#consequences')")
	if w.booking(t, job).GetBay() != before {
		t.Fatal("it is moved before anybody said so")
	}
	b.accessible("move-tried")
	b.picture("move-tried")
	b.click("#move")
	inLane := func(bay string) string {
		return fmt.Sprintf(`document.querySelector('g[data-bay="%s"] #bar-%s')`, bay, job)
	}
	b.await(inLane(wanted))
	other.await(inLane(wanted)) // without touching anything
	b.click("#undo")
	b.await(inLane(before))
	other.await(inLane(before))

	// Now with the keyboard alone.
	b.open("/bays")
	b.tabTo("#bar-" + job)
	b.do(chromedp.KeyEvent("\r"))
	b.await("document.readyState == 'complete' && location.pathname == '/bays/" + job + "'")
	b.tabTo("select[name=bay]")
	b.do(chromedp.KeyEvent("Bay " + strings.TrimPrefix(wanted, "bays/")))
	b.tabTo("#try")
	b.do(chromedp.KeyEvent("\r"))
	b.await("document.querySelector('#consequences')")
	b.tabTo("#move")
	b.do(chromedp.KeyEvent("\r"))
	b.await(inLane(wanted))
	other.open("/bays/undo")
	if named := ask[string](other, `document.querySelector("[name=move]").value`); !strings.HasPrefix(named, "move-") {
		t.Errorf("the page would take back %q, which may be another move by then", named)
	}
	b.tabTo("#undo")
	b.do(chromedp.KeyEvent("\r"))
	b.await(inLane(before))
	if got := w.booking(t, job).GetBay(); got != before {
		t.Errorf("it lies in %s, was in %s", got, before)
	}
}

// The clerk takes goods in with the mouse, and with nothing but the keyboard.
func TestDeskClerkTakesGoodsIn(t *testing.T) {
	w, _ := openTold(t, end)
	const part = "MO-4212"
	clients, as := w.clients(t), w.as(t, site, "clara", identity.PartsClerk)
	placed, err := clients.Inventory.PlaceOrder(as, &inventoryv1.PlaceOrderRequest{
		RequestId: "goods-in-order", Supplier: "orrin-depot", Lines: []*inventoryv1.OrderLine{{Part: part, Quantity: 10}},
	})
	if err != nil {
		t.Fatal(err)
	}
	order := strings.TrimPrefix(placed.GetOrder().GetName(), "orders/")
	onHand := func() int64 {
		r, err := clients.Inventory.GetPart(as, &inventoryv1.GetPartRequest{Part: part})
		if err != nil {
			t.Fatal(err)
		}
		return r.GetPart().GetOnHand()
	}
	had := onHand()
	b := openBrowsers(t)(w.Desk.URL())
	b.signIn(w, "clara", identity.PartsClerk)
	field := "#in-" + order + "-" + part

	b.open("/shelf")
	b.click(fmt.Sprintf(`details:has([action="/shelf/orders/%s/receipt"]) summary`, order))
	b.enter(field, "4")
	// Somebody else's order comes in between; what was entered stays.
	b.do(chromedp.Focus("#find"))
	if _, err := clients.Inventory.PlaceOrder(as, &inventoryv1.PlaceOrderRequest{
		RequestId: "goods-in-between", Supplier: "orrin-depot", Lines: []*inventoryv1.OrderLine{{Part: part, Quantity: 1}},
	}); err != nil {
		t.Fatal(err)
	}
	b.await(fmt.Sprintf(`document.querySelectorAll("details[id^=order-details]").length == 2 && document.querySelector(%q).value == "4"`, field))
	b.click(fmt.Sprintf(`[action="/shelf/orders/%s/receipt"] button`, order))
	b.await("document.querySelector('.done')")
	if got := onHand(); got != had+4 {
		t.Errorf("by mouse: %d on hand, had %d", got, had)
	}

	b.open("/shelf")
	b.tabTo(fmt.Sprintf(`details:has([action="/shelf/orders/%s/receipt"]) summary`, order))
	b.do(chromedp.KeyEvent("\r"))
	b.tabTo(field)
	b.do(chromedp.KeyEvent("6"), chromedp.KeyEvent("\r"))
	b.await("document.querySelector('.done')")
	if got := onHand(); got != had+10 {
		t.Errorf("by keyboard: %d on hand, had %d", got, had)
	}
}

func (w *workshop) booking(t *testing.T, job string) *schedulingv1.Booking {
	t.Helper()
	r, err := w.clients(t).Scheduling.GetBooking(w.as(t, site, "dario", identity.Dispatcher), &schedulingv1.GetBookingRequest{Job: "jobs/" + job})
	if err != nil {
		t.Fatal(err)
	}
	return r.GetBooking()
}

// place gives the middle of an element in the window.
func (b *browser) place(selector string) (x, y float64) {
	b.t.Helper()
	at := ask[[]float64](b, "(r => [r.x + r.width / 2, r.y + r.height / 2])(document.querySelector("+quoted(selector)+").getBoundingClientRect())")
	return at[0], at[1]
}

// tabTo presses the tabulator until something has the focus, as somebody without a mouse does.
func (b *browser) tabTo(selector string) {
	b.t.Helper()
	for range 80 {
		b.do(chromedp.KeyEvent("\t"))
		if ask[bool](b, "!!document.activeElement?.matches("+quoted(selector)+")") {
			return
		}
	}
	b.fail(fmt.Errorf("the tabulator never comes to %s", selector))
}
