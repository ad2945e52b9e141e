package stack

import (
	"context"
	"errors"
	"fmt"
	"net"

	"google.golang.org/grpc"

	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/lifecycle"
	"ramprow/internal/platform/rpc"
	"ramprow/internal/platform/telemetry"
	"ramprow/services/traces"
)

// RoleTraces is the role that keeps traces; it has no log of its own, and nobody
// needs it to work.
const RoleTraces = "traces"

// TracesAddress is where traces are asked for when nothing else is said.
const TracesAddress = "127.0.0.1:7105"

// OTLPAddress is where spans are taken when nothing else is said: the port that
// IANA has given to OpenTelemetry.
const OTLPAddress = "127.0.0.1:4317"

// TracesPlace is where a trace store is reached, and by whom.
type TracesPlace struct {
	Address string
	// OTLP is where other processes send their spans; empty: nowhere.
	OTLP string
	// TLS is needed to listen to other machines. Its ClientCA says who may send spans.
	TLS *rpc.ServerTLS
	// Store is the caller's to close, after who writes into it.
	Store     *traces.Store
	Verifier  *identity.Verifier
	Telemetry *telemetry.Telemetry
}

// Traces is a trace store that serves.
type Traces struct {
	Address string
	// OTLP is where spans are taken; empty: nowhere.
	OTLP   string
	server *rpc.Server
	tasks  []lifecycle.Task
}

var errOpenOTLP = errors.New("traces: whoever sends spans from other machines must show a certificate; give --tls-cert, --tls-key and --tls-client-ca, or take spans on 127.0.0.1 alone")

// StartTraces listens; its tasks serve.
func StartTraces(place TracesPlace, closers *lifecycle.Closers) (*Traces, error) {
	server, err := rpc.NewServer(rpc.ServerConfig{Telemetry: place.Telemetry, Service: RoleTraces, Verifier: place.Verifier, TLS: place.TLS})
	if err != nil {
		return nil, err
	}
	traces.NewServer(place.Store).Register(server)
	listener, err := net.Listen("tcp", place.Address)
	if err != nil {
		return nil, fmt.Errorf("traces: %w", err)
	}
	place.Telemetry.Metrics().Add(traceMeasures(place.Store)...)
	t := &Traces{Address: listener.Addr().String(), server: server}
	t.tasks = []lifecycle.Task{{Name: "traces server", Run: func(context.Context) error { return server.Serve(listener) }}}
	if place.OTLP != "" {
		if err := t.receive(place, closers); err != nil {
			return nil, errors.Join(err, listener.Close())
		}
	}
	closers.Add(lifecycle.Closer{Name: "the server of traces", Close: server.Shutdown})
	return t, nil
}

// receive takes spans by OTLP.
func (t *Traces) receive(place TracesPlace, closers *lifecycle.Closers) error {
	listener, err := net.Listen("tcp", place.OTLP)
	if err != nil {
		return fmt.Errorf("traces: take spans: %w", err)
	}
	here := onLoopback(listener)
	if !here && (place.TLS == nil || place.TLS.ClientCA == "") {
		return errors.Join(errOpenOTLP, listener.Close())
	}
	var tls *rpc.ServerTLS
	if !here {
		tls = place.TLS
	}
	creds, err := rpc.ServerCredentials(tls, place.Telemetry.Logger())
	if err != nil {
		return errors.Join(err, listener.Close())
	}
	receiver := traces.NewReceiver(place.Store, creds)
	t.OTLP = listener.Addr().String()
	t.tasks = append(t.tasks, lifecycle.Task{Name: "traces receiver", Run: func(context.Context) error {
		if err := receiver.Serve(listener); err != nil && !errors.Is(err, grpc.ErrServerStopped) {
			return fmt.Errorf("traces: take spans: %w", err)
		}
		return nil
	}})
	closers.Add(closer("the receiver of spans", func() error {
		receiver.Stop() // senders send again what was not answered
		return nil
	}))
	return nil
}

// Tasks serve.
func (t *Traces) Tasks() []lifecycle.Task { return t.tasks }

// Ready tells clients whether calls are welcome.
func (t *Traces) Ready(yes bool) { t.server.SetReady(yes) }
