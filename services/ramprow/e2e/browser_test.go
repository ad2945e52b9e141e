package e2e_test

import (
	"context"
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"ramprow/internal/platform/identity"
)

// axe is axe-core 4.14.1 from its npm package, under the Mozilla Public License 2.0.
//
//go:embed testdata/axe.min.js
var axe string

// browserPatience bounds every wait for a page.
const browserPatience = 30 * time.Second

// browser is one person's browser: a profile of its own.
type browser struct {
	t   *testing.T
	ctx context.Context
	url string
}

// openBrowsers gives each person of a test a profile of a real Chromium.
func openBrowsers(t *testing.T) func(url string) *browser {
	t.Helper()
	first, err := chromium()
	switch {
	case errors.Is(err, exec.ErrNotFound) && os.Getenv("CI") != "true":
		t.Skip("chromium is not installed")
	case err != nil:
		t.Fatal(err)
	}
	return func(url string) *browser {
		t.Helper()
		ctx, done := chromedp.NewContext(first, chromedp.WithNewBrowserContext())
		t.Cleanup(done)
		// The first action makes the page, which lives as long as that action's context.
		if _, err := chromedp.Run(ctx, chromedp.EmulateViewport(1280, 900)); err != nil {
			t.Fatal(err)
		}
		return &browser{t: t, ctx: ctx, url: url}
	}
}

// do runs actions within the patience of a person.
func (b *browser) do(actions ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	for _, action := range actions {
		if _, err := attempt(b, action); err != nil {
			b.fail(err)
		}
	}
}

func (b *browser) fail(err error) {
	b.t.Helper()
	page, _ := attempt(b, chromedp.Evaluate[string](`location.href + "\n" + document.body.innerText.slice(0, 1500)`))
	b.t.Fatalf("%v; the page is %s", err, page)
}

func attempt[T any](b *browser, action chromedp.Action[T]) (T, error) {
	ctx, cancel := context.WithTimeout(b.ctx, browserPatience)
	defer cancel()
	return chromedp.Run(ctx, action)
}

// ask evaluates an expression in the page.
func ask[T any](b *browser, expression string) T {
	b.t.Helper()
	answer, err := attempt(b, chromedp.Evaluate[T](expression, chromedp.EvalAsValue, chromedp.EvalAwaitPromise))
	if err != nil {
		b.fail(err)
	}
	return answer
}

// open loads a page of the desk.
func (b *browser) open(path string) {
	b.t.Helper()
	b.do(chromedp.Navigate(b.url + path))
}

// await waits until a condition in the page is true, over changes of the page.
func (b *browser) await(condition string) {
	b.t.Helper()
	deadline := time.NewTimer(browserPatience)
	defer deadline.Stop()
	tick := time.NewTicker(25 * time.Millisecond)
	defer tick.Stop()
	for {
		// A page that is being replaced cannot answer: ask the next one.
		if so, err := attempt(b, chromedp.Evaluate[bool]("!!("+condition+")")); err == nil && so {
			return
		}
		select {
		case <-tick.C:
		case <-deadline.C:
			b.fail(fmt.Errorf("waited in vain for %s", condition))
		}
	}
}

// enter types into a field. The page may replace an empty field while it is
// being reached for, so a person looks whether the text stands there.
func (b *browser) enter(selector, text string) {
	b.t.Helper()
	for range 5 {
		ask[any](b, "(f => { f?.focus(); if (f) f.value = ''; return null })(document.querySelector("+quoted(selector)+"))")
		b.do(chromedp.KeyEvent(text))
		if ask[string](b, "document.querySelector("+quoted(selector)+")?.value ?? ''") == text {
			return
		}
	}
	b.fail(fmt.Errorf("cannot type %q into %s", text, selector))
}

func (b *browser) click(selector string) {
	b.t.Helper()
	for range 5 {
		if _, err := attempt(b, chromedp.Click(selector)); err == nil {
			return
		}
	}
	b.fail(fmt.Errorf("cannot click %s", selector))
}

func (b *browser) text(selector string) string {
	b.t.Helper()
	return ask[string](b, "document.querySelector("+quoted(selector)+")?.innerText ?? ''")
}

// signIn signs a person in by a token that is pasted.
func (b *browser) signIn(w *workshop, person string, role identity.Role) {
	b.t.Helper()
	token, err := w.Token(site, person, time.Hour, role)
	if err != nil {
		b.t.Fatal(err)
	}
	b.open("/signin")
	b.do(chromedp.SetValue("textarea[name=token]", token), chromedp.Submit("textarea[name=token]"))
	b.await(`location.pathname != "/signin"`)
}

// picture keeps how the page looks at two sizes, for a person to look at.
func (b *browser) picture(name string) {
	b.t.Helper()
	if err := os.MkdirAll("screenshots", 0o755); err != nil {
		b.t.Fatal(err)
	}
	for size, width := range map[string]int64{"terminal": 1024, "phone": 390} {
		b.do(chromedp.EmulateViewport(width, 768))
		picture, err := attempt(b, chromedp.FullScreenshot(100))
		if err != nil {
			b.fail(err)
		}
		if err := os.WriteFile(filepath.Join("screenshots", fmt.Sprintf("%s-%s.png", name, size)), picture, 0o644); err != nil {
			b.t.Fatal(err)
		}
	}
	b.do(chromedp.EmulateViewport(1280, 900))
}

// accessible demands that axe-core finds no serious fault on the page.
func (b *browser) accessible(name string) {
	b.t.Helper()
	ask[any](b, axe+"; null")
	faults := ask[[]string](b, `axe.run(document, {runOnly: ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa", "best-practice"]}).then(r => r.violations
		.filter(v => v.impact === "serious" || v.impact === "critical").map(v => v.id + ": " + v.nodes.map(n => n.html.slice(0, 120)).join(" | ")))`)
	if len(faults) > 0 {
		b.t.Errorf("%s: %s", name, strings.Join(faults, "\n"))
	}
}

// quoted writes a text as JavaScript does.
func quoted(text string) string {
	data, err := json.Marshal(text)
	if err != nil {
		panic(err) // a string can always be written
	}
	return string(data)
}
