package stack

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"time"

	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/lifecycle"
	"ramprow/internal/platform/readmodel"
	"ramprow/internal/platform/rpc"
	"ramprow/internal/platform/telemetry"
	"ramprow/services/desk"
	"ramprow/services/terminal"
)

// RoleDesk is the role that serves the pages; it has no log of its own.
const RoleDesk = "desk"

// DeskAddress is where the pages are when nothing else is said.
const DeskAddress = "127.0.0.1:7100"

// DeskPlace is where the pages are served, and whom they call.
type DeskPlace struct {
	Address string
	// Services by role name, as a terminal finds them.
	Services map[string]string
	// Peers says how the services are trusted; nil: they are on this machine.
	Peers    *rpc.ClientTLS
	Store    *readmodel.Store
	Verifier *identity.Verifier
	// People who sign in by PIN; nil: nobody.
	People *desk.People
	// Certificate and Key of the pages' own server; empty: plain text, on this machine alone.
	Certificate, Key string
	Telemetry        *telemetry.Telemetry
	Now              func() time.Time
}

// Desk is the pages being served.
type Desk struct {
	Address string
	server  *http.Server
	place   DeskPlace
	serve   func() error
}

var errOpenDesk = errors.New("the desk listens in plain text on this machine alone; give it a certificate to listen elsewhere")

// StartDesk listens; the desk's task serves.
func StartDesk(place DeskPlace, closers *lifecycle.Closers) (*Desk, error) {
	if err := place.check(); err != nil {
		return nil, err
	}
	clients, err := terminal.Dial(terminal.DialConfig{Addresses: place.Services, Telemetry: place.Telemetry, TLS: place.Peers})
	if err != nil {
		return nil, err
	}
	closers.Add(closer("the desk's connections", clients.Close))
	pages, err := desk.New(desk.Config{
		Services: desk.Services{
			Job: clients.Job, Figures: clients.Figures, Billing: clients.Billing, Inventory: clients.Inventory, Buying: clients.Buying, Scheduling: clients.Scheduling, Audit: clients.Audit,
			Logs: clients.Logs, Traces: clients.Traces,
		},
		Store: place.Store, Verifier: place.Verifier, People: place.People, Secure: place.Certificate != "",
		Zone: time.Local, Now: place.Now, Logger: place.Telemetry.Logger(), Tracer: place.Telemetry.Tracer("ramprow/services/desk"), //nolint:gosmopolitan // the workshop stands where its machine does
	})
	if err != nil {
		return nil, err
	}
	listener, err := net.Listen("tcp", place.Address)
	if err != nil {
		return nil, fmt.Errorf("desk: %w", err)
	}
	// Live updates last as long as a page is open: they end when the server is told to.
	base, end := context.WithCancel(context.Background())
	server := &http.Server{
		Handler: pages, ReadHeaderTimeout: 10 * time.Second, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 32 << 10,
		BaseContext: func(net.Listener) context.Context { return base },
	}
	server.RegisterOnShutdown(end)
	d := &Desk{Address: listener.Addr().String(), server: server, place: place}
	d.serve = func() error { return server.Serve(listener) }
	if place.Certificate != "" {
		d.serve = func() error { return server.ServeTLS(listener, place.Certificate, place.Key) }
	}
	closers.Add(lifecycle.Closer{Name: "the desk", Close: func(ctx context.Context) error {
		defer end()
		err := server.Shutdown(ctx)
		pages.Close()
		return err
	}})
	return d, nil
}

// check refuses to send passwords and pages over a network in plain text.
func (p DeskPlace) check() error {
	host, _, err := net.SplitHostPort(p.Address)
	if err != nil {
		return fmt.Errorf("desk: --listen %q is no address; write it as in 127.0.0.1:7100", p.Address)
	}
	ip := net.ParseIP(host)
	if p.Certificate == "" && host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return errOpenDesk
	}
	return nil
}

// Task serves the pages.
func (d *Desk) Task() lifecycle.Task {
	return lifecycle.Task{Name: "desk", Run: func(context.Context) error {
		if err := d.serve(); !errors.Is(err, http.ErrServerClosed) {
			return err
		}
		return nil
	}}
}

// URL is what to type into a browser.
func (d *Desk) URL() string {
	if d.place.Certificate != "" {
		return "https://" + d.Address
	}
	return "http://" + d.Address
}
