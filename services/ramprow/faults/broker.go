package faults

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
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
		if err := eventually(ctx, b.name, b.ready); err != nil {
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
		fmt.Fprintf(&text, "cluster {\n  name: ramprow\n  listen: %q\n  routes: [\n", b.route)
		for _, other := range w.brokers {
			if other != b {
				fmt.Fprintf(&text, "    %q\n", "nats://"+other.route)
			}
		}
		text.WriteString("  ]\n}\n")
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
	return eventually(ctx, b.name, b.ready)
}

// ready tells whether a server keeps streams; one of a cluster does when there is
// a leader.
func (b *broker) ready(ctx context.Context) error { return b.ask(ctx, "$JS.API.INFO") }

// ask makes one request without content, in the text that NATS clients and
// servers speak: docs.nats.io, NATS protocol, client protocol.
func (b *broker) ask(ctx context.Context, subject string) error {
	return talk(ctx, b.address, func(lines *bufio.Reader, conn io.Writer) error {
		if _, err := lines.ReadString('\n'); err != nil { // INFO
			return err
		}
		if _, err := fmt.Fprintf(conn, "CONNECT {\"verbose\":false}\r\nSUB answer 1\r\nPUB %s answer 0\r\n\r\n", subject); err != nil {
			return err
		}
		for {
			line, err := lines.ReadString('\n')
			switch {
			case err != nil:
				return err
			case strings.HasPrefix(line, "PING"):
				if _, err := io.WriteString(conn, "PONG\r\n"); err != nil {
					return err
				}
			case strings.Contains(line, `"error"`), strings.HasPrefix(line, "-ERR"):
				return errors.New(strings.TrimSpace(line))
			case strings.HasPrefix(line, "{"):
				return nil
			}
		}
	})
}
