package e2e_test

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"testing"
	"time"

	sdktrace "go.opentelemetry.io/otel/sdk/trace"
	"google.golang.org/grpc"
	"google.golang.org/grpc/health/grpc_health_v1"

	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/rpc"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/telemetry"
	"ramprow/services/ramprow/stack"
	"ramprow/services/ramprow/story"
	"ramprow/services/terminal"
	"ramprow/services/traces"
)

// workshop is every role in this process, over an embedded NATS and Redis.
type workshop struct {
	*stack.Workshop
	telemetry *telemetry.Telemetry
	now       func() time.Time
}

// openWorkshop serves until the test ends. The processor, if any, sees every span.
func openWorkshop(t *testing.T, dir string, processor sdktrace.SpanProcessor) *workshop {
	t.Helper()
	return openWorkshopAt(t, dir, processor, time.Now)
}

// inTheMorning is a clock that shows eight o'clock today when it is made.
func inTheMorning() func() time.Time {
	now := time.Now()
	ahead := time.Date(now.Year(), now.Month(), now.Day(), 8, 0, 0, 0, time.Local).Sub(now)
	return func() time.Time { return time.Now().Add(ahead) }
}

// openWorkshopAt serves by a clock of its own.
func openWorkshopAt(t *testing.T, dir string, processor sdktrace.SpanProcessor, now func() time.Time) *workshop {
	t.Helper()
	return openWorkshopWith(t, telemetry.Config{Processor: processor}, stack.WorkshopConfig{
		Dir: dir, Now: now, Traces: traces.NewStore(traces.Limits{}, time.Now),
	})
}

// openTraced is openWorkshop with a store that takes every span.
func openTraced(t *testing.T, dir string, kept *traces.Store) *workshop {
	t.Helper()
	return openWorkshopWith(t, telemetry.Config{Sink: kept, TracesPerSecond: 1 << 20}, stack.WorkshopConfig{Dir: dir, Traces: kept})
}

func openWorkshopWith(t *testing.T, c telemetry.Config, house stack.WorkshopConfig) *workshop {
	t.Helper()
	w, end, err := serve(context.WithoutCancel(t.Context()), c, house)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := end(); err != nil {
			t.Errorf("the workshop did not end cleanly: %v", err)
		}
	})
	return w
}

// serve runs a workshop until it is ended.
func serve(ctx context.Context, c telemetry.Config, house stack.WorkshopConfig) (w *workshop, end func() error, err error) {
	c.Service, c.Log, c.LogLevel, c.Getenv = "ramprow-e2e", io.Discard, slog.LevelError, func(string) string { return "" }
	tel, err := telemetry.Start(ctx, c)
	if err != nil {
		return nil, nil, err
	}
	house.Telemetry, house.Desk = tel, "127.0.0.1:0"
	opened, err := stack.OpenWorkshop(ctx, house)
	if err != nil {
		return nil, nil, err
	}
	ctx, stop := context.WithCancel(ctx)
	ended := make(chan error, 1)
	go func() { ended <- opened.Run(ctx) }()
	end = func() error {
		stop()
		return <-ended
	}
	w = &workshop{Workshop: opened, telemetry: tel, now: opened.Backend.Now}
	if err := w.ready(ctx); err != nil {
		return nil, nil, errors.Join(err, end())
	}
	return w, end, nil
}

// ready waits until every role says that it serves: before that a stream is refused.
func (w *workshop) ready(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, time.Minute)
	defer cancel()
	for role, address := range w.Addresses() {
		conn, err := rpc.Dial(rpc.ClientConfig{Telemetry: w.telemetry, Target: address})
		if err != nil {
			return err
		}
		_, err = grpc_health_v1.NewHealthClient(conn).Check(ctx, &grpc_health_v1.HealthCheckRequest{}, grpc.WaitForReady(true))
		if err := errors.Join(err, conn.Close()); err != nil {
			return fmt.Errorf("%s does not serve: %w", role, err)
		}
	}
	return nil
}

func (w *workshop) dial() (*terminal.Clients, error) {
	return terminal.Dial(terminal.DialConfig{Addresses: w.Addresses(), Telemetry: w.telemetry})
}

func (w *workshop) clients(t *testing.T) *terminal.Clients {
	t.Helper()
	clients, err := w.dial()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = clients.Close() })
	return clients
}

// conn is a bare connection to one role.
func (w *workshop) conn(t *testing.T, role string) *grpc.ClientConn {
	t.Helper()
	conn, err := rpc.Dial(rpc.ClientConfig{Telemetry: w.telemetry, Target: w.Addresses()[role]})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	return conn
}

// as gives a context of somebody at a site.
func (w *workshop) as(t *testing.T, site, person string, roles ...identity.Role) context.Context {
	t.Helper()
	token, err := w.Token(site, person, time.Hour, roles...)
	if err != nil {
		t.Fatal(err)
	}
	return rpc.WithToken(t.Context(), token)
}

const site = "testby"

// tell runs the story and fails the test where it fails.
func (w *workshop) tell(t *testing.T) story.Ending {
	t.Helper()
	ending, err := story.Tell(t.Context(), w.story(w.clients(t)))
	if err != nil {
		t.Fatal(err)
	}
	return ending
}

// story is what is told at this workshop's site.
func (w *workshop) story(clients *terminal.Clients) story.Config {
	return story.Config{
		Clients: clients,
		Token: func(person string, role identity.Role) (string, error) {
			return w.Token(site, person, time.Hour, role)
		},
		Out: io.Discard,
		Now: w.now,
	}
}

// lasts gives the newest sequence of each service's log of a site.
func (w *workshop) lasts(t *testing.T, site string) map[string]uint64 {
	t.Helper()
	lasts := map[string]uint64{}
	for _, role := range terminal.RoleNames() {
		last, err := w.Backend.Log.Last(t.Context(), sitelog.Subject{Service: role, Site: site})
		if err != nil {
			t.Fatal(err)
		}
		lasts[role] = last.Sequence
	}
	return lasts
}
