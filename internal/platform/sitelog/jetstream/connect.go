// Package jetstream is a sitelog.Log over NATS JetStream: one stream per
// service, RAMPROW_<SERVICE>, one subject per site, <service>.<partition>.<site>.
// Streams are files, keep everything, and refuse deleting and purging. It is the
// only package that talks to NATS.
//
// A commit's guard is the exact subject's last sequence
// (Nats-Expected-Last-Subject-Sequence). The server's own dedupe by message id
// is not used: its window ends, and what it answers differs between one server
// and a cluster.
package jetstream

import (
	"bytes"
	"context"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"ramprow/internal/platform/sitelog"
)

// DefaultTimeout bounds one request to the server. A publish that takes longer
// has an unknown outcome, and the writer reads the tail.
const DefaultTimeout = 2 * time.Second

// InProcess is a NATS server in this process.
type InProcess interface {
	InProcessConn() (net.Conn, error)
}

// Options say which server to use and how. InProcess or URL must be set.
type Options struct {
	InProcess   InProcess
	URL         string // several are parted by commas
	Credentials string // .creds file or NKey seed file; empty for none
	CAFile      string // who signed the server's certificate; empty for the system's
	CertFile    string // own certificate and key, both or none
	KeyFile     string
	Name        string // of the connection, for the server's lists
	// Partitions must be the same for every program on one log; 0 means sitelog.DefaultPartitions.
	Partitions int
	// Replicas of streams that are created here; 0 means 1. An odd number.
	Replicas int
	Timeout  time.Duration // 0 means DefaultTimeout
	Logger   *slog.Logger
}

// Log implements sitelog.Log.
type Log struct {
	link
	// Followers have a connection of their own: on a shared one the acknowledgement
	// of a commit would come behind the copies of that commit for all of them.
	feed link
	o    Options

	mu       sync.Mutex
	streams  map[string]jetstream.Stream // by service
	censuses map[string]*census          // by service
}

var _ sitelog.Log = (*Log)(nil)

// link is a connection, and what the server has denied on it.
type link struct {
	nc      *nats.Conn
	js      jetstream.JetStream
	denials *denials
}

// Connect opens the connections. Streams are created when they are first used.
func Connect(o Options) (*Log, error) {
	if (o.InProcess == nil) == (o.URL == "") {
		return nil, errors.New("jetstream: set either InProcess or URL")
	}
	if (o.CertFile == "") != (o.KeyFile == "") {
		return nil, errors.New("jetstream: set both CertFile and KeyFile, or none")
	}
	if o.Timeout <= 0 {
		o.Timeout = DefaultTimeout
	}
	if o.Partitions <= 0 {
		o.Partitions = sitelog.DefaultPartitions
	}
	o.Replicas = max(o.Replicas, 1)
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	work, err := o.dial()
	if err != nil {
		return nil, err
	}
	feed, err := o.dial()
	if err != nil {
		work.nc.Close()
		return nil, err
	}
	return &Log{link: work, feed: feed, o: o, streams: map[string]jetstream.Stream{}, censuses: map[string]*census{}}, nil
}

func (o Options) dial() (link, error) {
	denied := &denials{waiting: map[*waiter]struct{}{}}
	options, err := o.natsOptions(denied)
	if err != nil {
		return link{}, err
	}
	nc, err := nats.Connect(o.URL, options...)
	if err != nil {
		return link{}, fmt.Errorf("connect to NATS: %w%s", err, advice(err))
	}
	js, err := jetstream.New(nc)
	if err != nil {
		nc.Close()
		return link{}, fmt.Errorf("use JetStream: %w", err)
	}
	return link{nc: nc, js: js, denials: denied}, nil
}

func (o Options) natsOptions(denied *denials) ([]nats.Option, error) {
	options := []nats.Option{
		nats.Name(o.Name),
		nats.MaxReconnects(-1),
		nats.ReconnectWait(250 * time.Millisecond),
		// A publish while the server is away fails at once, instead of being
		// sent much later.
		nats.ReconnectBufSize(-1),
		nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) {
			o.Logger.Warn("NATS reports an error", "error", err)
			denied.note(err)
		}),
		nats.DisconnectErrHandler(func(_ *nats.Conn, err error) {
			denied.cutOff()
			if err != nil {
				o.Logger.Warn("NATS is away", "error", err)
			}
		}),
		nats.ReconnectHandler(func(*nats.Conn) { o.Logger.Info("NATS is back") }),
	}
	if o.InProcess != nil {
		options = append(options, nats.InProcessServer(o.InProcess))
	}
	if o.Credentials != "" {
		own, err := credentials(o.Credentials)
		if err != nil {
			return nil, err
		}
		options = append(options, own)
	}
	if o.CAFile != "" {
		options = append(options, nats.RootCAs(o.CAFile))
	}
	if o.CertFile != "" {
		options = append(options, nats.ClientCert(o.CertFile, o.KeyFile))
	}
	return options, nil
}

// credentials reads a .creds file, which holds a user's token and key, or a file
// with the key alone. A .creds file is read again at each reconnection, so that
// the token can be renewed; another key needs a new start.
func credentials(file string) (nats.Option, error) {
	content, err := os.ReadFile(file) //nolint:gosec // the operator names it
	if err != nil {
		return nil, fmt.Errorf("read the NATS credentials: %w", err)
	}
	if bytes.Contains(content, []byte("NATS USER JWT")) {
		return nats.UserCredentials(file), nil
	}
	key, err := nats.NkeyOptionFromSeed(file)
	if err != nil {
		return nil, fmt.Errorf("%s holds neither NATS credentials nor an NKey seed of a user: %w", file, err)
	}
	return key, nil
}

// advice says what to do when the server and this program do not trust each other.
func advice(err error) string {
	var unknown x509.UnknownAuthorityError
	switch {
	case errors.Is(err, nats.ErrAuthorization), errors.Is(err, nats.ErrAuthExpired):
		return "; give the credentials of a user whom the server knows (--nats-creds)"
	case errors.As(err, &unknown):
		return "; give the authority that signed the server's certificate (--nats-ca)"
	case certificateRefused(err):
		return "; give a certificate that the server trusts, and its key (--nats-cert, --nats-key)"
	}
	return ""
}

// certificateRefused tells whether the server ended the handshake. It looks at
// the client's certificate last, when for the client all is well: depending on
// who is faster that is an alert, or a connection that breaks after the handshake.
func certificateRefused(err error) bool {
	broken, ok := errors.AsType[*net.OpError](err) // crypto/tls keeps alerts in one, too
	alert := ok && broken.Op == "remote error"
	return alert || errors.Is(err, nats.ErrTLS) && (ok || errors.Is(err, io.EOF))
}

// Ready tells whether the server answers now.
func (l *Log) Ready(ctx context.Context) error {
	err := l.ask(ctx, "$JS.API.INFO", func(ctx context.Context) error {
		_, err := l.js.AccountInfo(ctx)
		return err
	})
	if err != nil {
		return fmt.Errorf("JetStream does not answer: %w", err)
	}
	return nil
}

// Close ends the connections. Close the runners first.
func (l *Log) Close() {
	l.feed.nc.Close()
	l.nc.Close()
}
