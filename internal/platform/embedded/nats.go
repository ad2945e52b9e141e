// Package embedded runs the servers that Ramprow needs inside its own process,
// for a single machine, demonstrations and tests: NATS with JetStream on a
// folder, and a Redis that forgets.
package embedded

import (
	"errors"
	"fmt"
	"log/slog"
	"net"
	"strconv"
	"time"

	"github.com/nats-io/nats-server/v2/server"
)

const (
	natsReady  = 10 * time.Second
	natsName   = "ramprow"
	maxPayload = 8 << 20 // bytes; commits are kept far below it
)

// NATSOptions say how the embedded NATS server runs. The zero value is a server
// that only this process can reach.
type NATSOptions struct {
	// Listen is a loopback host:port for other programs on this machine; port 0
	// takes a free one (see server.ClientURL). Empty: none.
	Listen string
	Logger *slog.Logger
}

// StartNATS runs a NATS server with JetStream on a folder. Every write is
// synced to disk before it is acknowledged. Stop it with StopNATS, after its
// clients are closed.
func StartNATS(dir string, o NATSOptions) (*server.Server, error) {
	if dir == "" {
		return nil, errors.New("the embedded NATS server needs a folder")
	}
	options := &server.Options{
		ServerName: natsName,
		JetStream:  true,
		StoreDir:   dir,
		SyncAlways: true,
		MaxPayload: maxPayload,
		NoSigs:     true,
		NoLog:      true,
		DontListen: true,
	}
	if o.Listen != "" {
		if err := listenOn(options, o.Listen); err != nil {
			return nil, err
		}
	}
	s, err := server.NewServer(options)
	if err != nil {
		return nil, fmt.Errorf("set up the embedded NATS server on %s: %w", dir, err)
	}
	if o.Logger != nil {
		s.SetLoggerV2(natsLogger{o.Logger}, false, false, false)
	}
	s.Start()
	if !s.ReadyForConnections(natsReady) {
		StopNATS(s)
		return nil, fmt.Errorf("the embedded NATS server on %s was not ready after %s", dir, natsReady)
	}
	return s, nil
}

// listenOn opens a port without a password, and so on the loopback address only.
func listenOn(options *server.Options, address string) error {
	host, port, err := net.SplitHostPort(address)
	if err != nil {
		return fmt.Errorf("listen on %q: %w", address, err)
	}
	number, err := strconv.Atoi(port)
	if err != nil {
		return fmt.Errorf("listen on %q: the port is no number", address)
	}
	if ip := net.ParseIP(host); ip == nil || !ip.IsLoopback() {
		return fmt.Errorf("listen on %q: the embedded server listens on a loopback address only; run a NATS server of your own for other machines", address)
	}
	options.DontListen = false
	options.Host, options.Port = host, number
	if number == 0 {
		options.Port = server.RANDOM_PORT
	}
	return nil
}

// StopNATS stops the server and waits until its files are closed: a folder that
// is opened again too early is damaged.
func StopNATS(s *server.Server) {
	s.Shutdown()
	s.WaitForShutdown()
}

// natsLogger passes on what the server says when something is wrong, and
// nothing else.
type natsLogger struct{ log *slog.Logger }

func (l natsLogger) Warnf(format string, v ...any) { l.log.Warn("NATS: " + fmt.Sprintf(format, v...)) }

func (l natsLogger) Errorf(format string, v ...any) {
	l.log.Error("NATS: " + fmt.Sprintf(format, v...))
}

func (l natsLogger) Fatalf(format string, v ...any) {
	l.log.Error("NATS: " + fmt.Sprintf(format, v...))
}
func (natsLogger) Noticef(string, ...any) {}
func (natsLogger) Debugf(string, ...any)  {}
func (natsLogger) Tracef(string, ...any)  {}
