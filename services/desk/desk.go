package desk

import (
	"errors"
	"html/template"
	"log/slog"
	"net/http"
	"time"

	"go.opentelemetry.io/otel/trace"
	"golang.org/x/text/language"

	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/readmodel"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	logv1 "ramprow/proto/ramprow/log/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
	tracesv1 "ramprow/proto/ramprow/traces/v1"
)

// Services are what the pages call. Each call takes its token from its context.
type Services struct {
	Job        jobv1.JobServiceClient
	Figures    jobv1.FiguresServiceClient
	Billing    jobv1.BillingServiceClient
	Inventory  inventoryv1.InventoryServiceClient
	Buying     inventoryv1.BuyingServiceClient
	Scheduling schedulingv1.SchedulingServiceClient
	Audit      torqueauditv1.TorqueAuditServiceClient
	// Logs by role: what each service could not handle.
	Logs map[string]logv1.LogServiceClient
	// Traces finds traces; nil where none are kept.
	Traces tracesv1.TraceServiceClient
}

// Config is what a desk needs.
type Config struct {
	Services Services
	// Store keeps the sessions; losing it means signing in again, and nothing more.
	Store    *readmodel.Store
	Verifier *identity.Verifier
	// People may sign in by name and PIN; nil: by token alone.
	People *People
	// Zone is where the workshop's clocks stand; nil: UTC.
	Zone *time.Location
	// Language of words, numbers and money; there must be a file of its words. The zero tag means English.
	Language language.Tag
	// Secure marks the cookie for TLS alone; set where the desk is reached by https.
	Secure bool
	Now    func() time.Time
	Logger *slog.Logger
	// Tracer makes a span for each page; nil: none are made.
	Tracer trace.Tracer
}

// Desk serves the pages.
type Desk struct {
	Config

	words     words
	pages     map[string]*template.Template
	sessions  sessions
	live      *live
	vehicles  *vehicles
	handler   http.Handler
	assetTags map[string]string
}

// New prepares the pages.
func New(c Config) (*Desk, error) {
	if c.Store == nil || c.Verifier == nil || c.Services.Job == nil {
		return nil, errors.New("desk: services, a store for sessions and a verifier of tokens are needed")
	}
	if c.Zone == nil {
		c.Zone = time.UTC
	}
	if c.Now == nil {
		c.Now = time.Now
	}
	if c.Logger == nil {
		c.Logger = slog.New(slog.DiscardHandler)
	}
	if c.Language == language.Und {
		c.Language = language.BritishEnglish
	}
	d := &Desk{Config: c}
	d.sessions = sessions{drawer: c.Store.Drawer("session"), verifier: c.Verifier, now: c.Now}
	d.live = newLive(c.Services, c.Logger)
	d.vehicles = newVehicles(c.Services.Job)
	var err error
	spoken, _ := c.Language.Base()
	if d.words, err = loadWords(spoken.String()); err != nil {
		return nil, err
	}
	if d.assetTags, err = tagAssets(); err != nil {
		return nil, err
	}
	if d.pages, err = d.parsePages(); err != nil {
		return nil, err
	}
	d.handler = d.routes()
	return d, nil
}

// ServeHTTP implements http.Handler.
func (d *Desk) ServeHTTP(w http.ResponseWriter, r *http.Request) { d.handler.ServeHTTP(w, r) }

// Close ends the live updates of every open page, so that a server can stop.
func (d *Desk) Close() { d.live.close() }
