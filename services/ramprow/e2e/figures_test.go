package e2e_test

import (
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/sitelog"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	"ramprow/services/ramprow/recount"
	"ramprow/services/ramprow/simulate/invariants"
	"ramprow/services/terminal"
)

// After the story, the figures that the service answers are what counting by brute force in the raw logs gives; the
// owner's page shows them, and leads by mouse and by keyboard to the job behind them.
func TestFiguresOfTheStory(t *testing.T) {
	w, _ := openTold(t, end)
	today := time.Now().UTC().Truncate(24 * time.Hour)
	from, to := today.AddDate(0, 0, -2), today.AddDate(0, 0, 2)
	got, err := w.clients(t).Figures.GetFigures(w.as(t, site, "ines", identity.Owner), &jobv1.GetFiguresRequest{From: from.Format(time.DateOnly), To: to.Format(time.DateOnly)})
	if err != nil {
		t.Fatal(err)
	}
	if got.GetClosed() != 1 || got.GetJoints().GetTightened() == 0 || got.GetBottleneck() == "" {
		t.Errorf("the figures after the story: %v", got)
	}
	logs, err := invariants.Read(w.records(t))
	if err != nil {
		t.Fatal(err)
	}
	want := recount.Figures(logs, from, to.AddDate(0, 0, 1), got.GetWhen().GetEnd().AsTime())
	got.Promises.Low, got.Promises.High = 0, 0 // a formula's, tested where it is
	for _, s := range got.GetStations() {
		s.Expected = nil
	}
	if diff := cmp.Diff(want, got, protocmp.Transform()); diff != "" {
		t.Errorf("(-counted +answered):\n%s", diff)
	}

	stock, err := w.clients(t).Buying.GetStockTurn(w.as(t, site, "ines", identity.Owner), &inventoryv1.GetStockTurnRequest{
		When: &commonv1.Interval{Start: timestamppb.New(from), End: timestamppb.New(to)},
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, part := range stock.GetParts() {
		part.Title = ""
	}
	if diff := cmp.Diff(recount.StockTurn(logs, from, to, stock.GetWhen().GetEnd().AsTime()), stock, protocmp.Transform()); diff != "" {
		t.Errorf("stock (-counted +answered):\n%s", diff)
	}

	newBrowser := openBrowsers(t)
	b := newBrowser(w.Desk.URL())
	b.signIn(w, "ines", identity.Owner)
	b.open("/figures")
	b.accessible("figures of the story")
	b.picture("figures-story")
	b.click(`dl.figures a[href*="figure=closed"]`)
	b.await(`location.pathname == "/figures/jobs" && document.querySelector("tbody a")?.innerText == "Job 1"`)
	b.open("/figures")
	ask[any](b, `document.querySelector('dl.figures a[href*="figure=joints"]').focus(), null`)
	b.do(chromedp.KeyEvent("\r"))
	b.await(`location.pathname == "/figures/jobs" && document.querySelector("tbody a")?.innerText == "Job 1"`)
	b.open("/figures")
	b.click("#stock dt a")
	b.await(`location.pathname == "/figures/stock" && !!document.querySelector("tbody a")`)
	b.click("tbody a")
	b.await(`location.pathname.startsWith("/figures/stock/") && document.querySelectorAll("tbody").length == 2`)
	b.accessible("stock of one part")
	b.picture("stockpart")
	b.open("/figures?from=yesterday&to=2026-03-09")
	if text := b.text("[role=alert]"); !strings.Contains(text, "from: must be a day") {
		t.Errorf("a window that cannot be read: %q", text)
	}
	other := newBrowser(w.Desk.URL())
	other.signIn(w, "tomas", identity.Technician)
	other.open("/figures")
	if text := other.text("[role=alert]"); !strings.Contains(text, "another role") {
		t.Errorf("a technician sees the owner's figures: %q", text)
	}
}

// records are all commits of the site, log by log.
func (w *workshop) records(t *testing.T) []sitelog.Record {
	t.Helper()
	var all []sitelog.Record
	for _, role := range terminal.RoleNames() {
		err := w.Backend.Log.Read(t.Context(), sitelog.Subject{Service: role, Site: site}, 0, func(r sitelog.Record) error {
			all = append(all, r)
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	return all
}
