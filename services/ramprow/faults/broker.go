package faults

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
)

// broker is one NATS server.
type broker struct {
	*process
	address string
	route   string // where the other servers of a cluster reach it
	store   string // its folder
}

func (w *town) openBrokers(ctx context.Context, c Config) error {
	for i := range max(c.Brokers, 1) {
		b, err := w.newBroker(i+1, c.Store)
		if err != nil {
			return err
		}
		w.brokers = append(w.brokers, b)
	}
	for _, b := range w.brokers {
		if err := os.WriteFile(w.brokerConfig(b), []byte(w.brokerText(b)), 0o600); err != nil {
			return fmt.Errorf("configure %s: %w", b.name, err)
		}
		if err := b.start(); err != nil {
			return err
		}
	}
	for _, b := range w.brokers {
		if err := eventually(ctx, b.name, func(ctx context.Context) error { return listening(ctx, b.address) }); err != nil {
			return err
		}
	}
	return nil
}

// newBroker keeps its streams below store, or below the town's folder.
func (w *town) newBroker(number int, store string) (*broker, error) {
	b := &broker{store: filepath.Join(w.dir, fmt.Sprintf("nats-%d", number))}
	if store != "" {
		b.store = filepath.Join(store, fmt.Sprintf("nats-%d", number))
	}
	var err error
	if b.address, err = w.ports.take(); err != nil {
		return nil, err
	}
	if b.route, err = w.ports.take(); err != nil {
		return nil, err
	}
	b.process = w.process(fmt.Sprintf("broker/%d", number), func() *exec.Cmd {
		return exec.Command(w.programs.NATS, "-c", w.brokerConfig(b)) //nolint:gosec // the operator names it
	})
	return b, nil
}

func (w *town) brokerConfig(b *broker) string {
	return filepath.Join(w.dir, strings.ReplaceAll(b.name, "/", "-")+".conf")
}

// brokerText is deploy/nats without TLS and users.
func (w *town) brokerText(b *broker) string {
	var text strings.Builder
	fmt.Fprintf(&text, "server_name: %s\nlisten: %q\nmax_payload: 8MB\njetstream { store_dir: %q, sync_interval: always }\n",
		strings.ReplaceAll(b.name, "/", "-"), b.address, b.store)
	if len(w.brokers) > 1 {
		fmt.Fprintf(&text, "cluster { name: ramprow, listen: %q, routes: [", b.route)
		for _, other := range w.brokers {
			if other != b {
				fmt.Fprintf(&text, " %q", "nats://"+other.route)
			}
		}
		text.WriteString(" ] }\n")
	}
	return text.String()
}

func (w *town) brokerURLs() string {
	urls := make([]string, 0, len(w.brokers))
	for _, b := range w.brokers {
		urls = append(urls, "nats://"+b.address)
	}
	return strings.Join(urls, ",")
}

func (w *town) startBroker(ctx context.Context, b *broker) error {
	if err := b.start(); err != nil {
		return err
	}
	return eventually(ctx, b.name, func(ctx context.Context) error { return listening(ctx, b.address) })
}
