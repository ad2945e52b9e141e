package e2e_test

import (
	"context"
	"crypto/ed25519"
	"io"
	"log/slog"
	"net/url"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"ramprow/internal/platform/config"
	"ramprow/internal/platform/embedded"
	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/lifecycle"
	"ramprow/internal/platform/telemetry"
	jobv1 "ramprow/proto/ramprow/job/v1"
	"ramprow/services/ramprow/stack"
	"ramprow/services/terminal"
)

// brittle is a workshop whose NATS, Redis and inventory can be cut off.
type brittle struct {
	*workshop

	nats, redis, inventory *line
	pages                  string // reach inventory over its line
}

func openBrittle(t *testing.T) *brittle {
	t.Helper()
	dir, _ := folder(t, middle)
	broker, err := embedded.StartNATS(filepath.Join(dir, "nats"), embedded.NATSOptions{Listen: "127.0.0.1:0"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { embedded.StopNATS(broker) })
	redis, err := embedded.StartRedis()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = redis.Close() })
	b := &brittle{nats: openLine(t, addressIn(t, broker.ClientURL()).Host)}
	redisURL := addressIn(t, redis.URL())
	b.redis = openLine(t, redisURL.Host)
	redisURL.Host = b.redis.address()
	tel, err := telemetry.Start(t.Context(), telemetry.Config{
		Service: "ramprow-e2e", Log: io.Discard, LogLevel: slog.LevelError, Getenv: func(string) string { return "" },
	})
	if err != nil {
		t.Fatal(err)
	}
	b.workshop = openWorkshopWith(t, telemetry.Config{}, stack.WorkshopConfig{Dir: dir, Backend: func(closers *lifecycle.Closers) (*stack.Backend, error) {
		return stack.Outside(config.Broker{URL: "nats://" + b.nats.address(), Replicas: 1}, config.ReadModels{URL: redisURL.String()}, tel, closers)
	}})
	b.openPages(t, dir)
	return b
}

// openPages serves pages that reach inventory over a line.
func (b *brittle) openPages(t *testing.T, dir string) {
	t.Helper()
	key, err := identity.LoadKey(stack.KeyFile(dir))
	if err != nil {
		t.Fatal(err)
	}
	verifier, err := identity.NewVerifier(identity.VerifierConfig{Keys: []ed25519.PublicKey{key.Public()}})
	if err != nil {
		t.Fatal(err)
	}
	addresses := b.Addresses()
	b.inventory = openLine(t, addresses[terminal.RoleInventory])
	addresses[terminal.RoleInventory] = b.inventory.address()
	closers := &lifecycle.Closers{}
	desk, err := stack.StartDesk(stack.DeskPlace{
		Address: "127.0.0.1:0", Services: addresses, Store: b.Backend.Store, Verifier: verifier, Telemetry: b.telemetry, Now: b.now,
	}, closers)
	if err != nil {
		t.Fatal(err)
	}
	served := make(chan error, 1)
	go func() { served <- desk.Task().Run(context.WithoutCancel(t.Context())) }()
	t.Cleanup(func() {
		if err := closers.Close(context.WithoutCancel(t.Context())); err != nil {
			t.Error(err)
		}
		if err := <-served; err != nil {
			t.Error(err)
		}
	})
	b.pages = desk.URL()
}

func addressIn(t *testing.T, text string) *url.URL {
	t.Helper()
	u, err := url.Parse(text)
	if err != nil {
		t.Fatal(err)
	}
	return u
}

// trouble looks at a page that says what is wrong and what to do.
func (b *browser) trouble(name, says string) {
	b.t.Helper()
	b.await(`document.querySelector(".problem")`)
	if got := b.text("body"); !strings.Contains(got, says) {
		b.t.Errorf("%s is told as %q", name, got)
	}
	b.accessible("trouble-" + name)
	b.picture("trouble-" + name)
}

// again presses the button that a page of trouble offers, as often as it is offered.
func (b *browser) again(button, until string) {
	b.t.Helper()
	b.await(`(b => { b?.click(); return ` + until + ` })(document.querySelector("` + button + `"))`)
}

// When something is away, the page says what and what to do; when it is back,
// the button there leads on, and what was sent is done once.
func TestDeskInTrouble(t *testing.T) {
	w := openBrittle(t)
	newBrowser := openBrowsers(t)
	const job = "1"
	t.Run("service", func(t *testing.T) {
		b := newBrowser(w.pages)
		b.t = t
		b.signIn(w.workshop, "clara", identity.PartsClerk)
		w.inventory.cut()
		b.open("/shelf")
		b.trouble("service", "cannot be reached")
		w.inventory.mend()
		b.again("#again", `document.body.dataset.page === "shelf" && !document.querySelector(".problem")`)
	})
	t.Run("redis", func(t *testing.T) {
		b := newBrowser(w.Desk.URL())
		b.t = t
		b.signIn(w.workshop, "dario", identity.Dispatcher)
		w.redis.cut()
		b.open("/jobs")
		b.trouble("redis", "Redis")
		w.redis.mend()
		b.again("#again", `document.body.dataset.page === "jobs" && !document.querySelector(".problem")`)
	})
	t.Run("nats", func(t *testing.T) {
		b := newBrowser(w.Desk.URL())
		b.t = t
		b.signIn(w.workshop, "dario", identity.Dispatcher)
		words := func() int {
			r, err := w.clients(t).Job.GetJob(w.as(t, site, "dario", identity.Dispatcher), &jobv1.GetJobRequest{Job: "jobs/" + job})
			if err != nil {
				t.Fatal(err)
			}
			return len(r.GetJob().GetAuthorisations())
		}
		before := words()
		b.open("/jobs/" + job)
		b.do(chromedp.SetValue("[name=upto]", "5000"), chromedp.SetValue("[name=how]", "at the counter"))
		w.nats.cut()
		b.click(`[action$="/authority"] button`)
		b.trouble("nats", "It is not known whether it was kept. Send it again")
		w.nats.mend()
		b.again("#resend", `document.querySelector(".done")`)
		if after := words(); after != before+1 {
			t.Errorf("the customer's word was kept %d times", after-before)
		}
	})
}
