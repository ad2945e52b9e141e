package rpc

import (
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"os"
	"sync"
	"time"

	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
)

// ServerTLS names PEM files. They are read again when they change.
type ServerTLS struct {
	Certificate string
	Key         string
	// ClientCA, if set, lets in only clients whose certificate it signed.
	ClientCA string
}

// ClientTLS names PEM files. They are read again when they change.
type ClientTLS struct {
	// CA holds the authorities that the server is trusted by; the system's if empty.
	CA string
	// Certificate and Key are shown to servers that ask for them.
	Certificate string
	Key         string
	// ServerName is whom the server's certificate must name; the target's host if empty.
	ServerName string
}

// ServerCredentials secures connections from the network; a pipe's never leave
// the process. No files: plain text, which is for the loopback.
func ServerCredentials(files *ServerTLS, log *slog.Logger) (credentials.TransportCredentials, error) {
	if files == nil {
		return insecure.NewCredentials(), nil
	}
	config, err := files.Config(log)
	if err != nil {
		return nil, err
	}
	return pipeAware{credentials.NewTLS(config)}, nil
}

// Config is for any server; it reads the files again when they change.
func (f *ServerTLS) Config(log *slog.Logger) (*tls.Config, error) {
	source := &reloader[*tls.Config]{files: []string{f.Certificate, f.Key, f.ClientCA}, load: f.load, log: log}
	first, err := source.get()
	if err != nil {
		return nil, err
	}
	config := first.Clone()
	config.GetConfigForClient = func(*tls.ClientHelloInfo) (*tls.Config, error) { return source.get() }
	return config, nil
}

func (f *ServerTLS) load() (*tls.Config, error) {
	certificate, err := tls.LoadX509KeyPair(f.Certificate, f.Key)
	if err != nil {
		return nil, fmt.Errorf("read the server's certificate: %w", err)
	}
	config := &tls.Config{MinVersion: tls.VersionTLS13, Certificates: []tls.Certificate{certificate}, NextProtos: []string{"h2"}}
	if f.ClientCA == "" {
		return config, nil
	}
	config.ClientAuth = tls.RequireAndVerifyClientCert
	config.ClientCAs, err = loadAuthorities(f.ClientCA)
	return config, err
}

func clientCredentials(files *ClientTLS, log *slog.Logger) (credentials.TransportCredentials, error) {
	config := &tls.Config{MinVersion: tls.VersionTLS13, ServerName: files.ServerName}
	var err error
	if files.CA != "" {
		if config.RootCAs, err = loadAuthorities(files.CA); err != nil {
			return nil, err
		}
	}
	if files.Certificate == "" {
		return credentials.NewTLS(config), nil
	}
	source := &reloader[*tls.Certificate]{files: []string{files.Certificate, files.Key}, load: files.load, log: log}
	if _, err := source.get(); err != nil {
		return nil, err
	}
	config.GetClientCertificate = func(*tls.CertificateRequestInfo) (*tls.Certificate, error) { return source.get() }
	return credentials.NewTLS(config), nil
}

func (f *ClientTLS) load() (*tls.Certificate, error) {
	certificate, err := tls.LoadX509KeyPair(f.Certificate, f.Key)
	if err != nil {
		return nil, fmt.Errorf("read the client's certificate: %w", err)
	}
	return &certificate, nil
}

func loadAuthorities(path string) (*x509.CertPool, error) {
	data, err := os.ReadFile(path) //nolint:gosec // the operator names the file
	if err != nil {
		return nil, fmt.Errorf("read the certificate authorities: %w", err)
	}
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM(data) {
		return nil, fmt.Errorf("%s holds no certificate", path)
	}
	return pool, nil
}

// reloader keeps what was loaded from files until one of them changes. It looks
// at each handshake, which needs no watcher and costs microseconds.
type reloader[T any] struct {
	files []string
	load  func() (T, error)
	log   *slog.Logger

	mu     sync.Mutex
	stamps []time.Time
	value  T
	loaded bool
}

// get gives the newest value that could be loaded: while files are being
// replaced one by one, the old certificate stays good.
func (r *reloader[T]) get() (T, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	stamps, err := modified(r.files)
	if err == nil && r.loaded && equalTimes(stamps, r.stamps) {
		return r.value, nil
	}
	var fresh T
	if err == nil {
		fresh, err = r.load()
	}
	if err != nil {
		if r.loaded {
			r.log.Error("new TLS files cannot be used, the old ones stay", "error", err)
			return r.value, nil
		}
		return fresh, err
	}
	r.value, r.stamps, r.loaded = fresh, stamps, true
	return fresh, nil
}

func modified(files []string) ([]time.Time, error) {
	stamps := make([]time.Time, len(files))
	var failures []error
	for i, file := range files {
		if file == "" {
			continue
		}
		info, err := os.Stat(file)
		if err != nil {
			failures = append(failures, err)
			continue
		}
		stamps[i] = info.ModTime()
	}
	return stamps, errors.Join(failures...)
}

func equalTimes(a, b []time.Time) bool {
	for i := range a {
		if !a[i].Equal(b[i]) {
			return false
		}
	}
	return true
}

// pipeAware lets connections of a Pipe in without a handshake.
type pipeAware struct {
	credentials.TransportCredentials
}

// ServerHandshake implements credentials.TransportCredentials.
func (p pipeAware) ServerHandshake(conn net.Conn) (net.Conn, credentials.AuthInfo, error) {
	if _, inside := conn.(pipeConn); inside {
		return insecure.NewCredentials().ServerHandshake(conn)
	}
	return p.TransportCredentials.ServerHandshake(conn)
}

// Clone implements credentials.TransportCredentials.
func (p pipeAware) Clone() credentials.TransportCredentials {
	return pipeAware{p.TransportCredentials.Clone()}
}
