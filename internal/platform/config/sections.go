package config

import (
	"errors"
	"fmt"
	"net"
	"net/netip"
	"net/url"
	"os"
	"strings"
	"time"
)

// Broker says how to reach NATS.
type Broker struct {
	// URL is one or several server URLs, separated by commas.
	URL string
	// Credentials is an NKey seed or a .creds file.
	Credentials string
	TLS         ClientTLS
	// Replicas of streams that are created: 1, or 3 on a cluster.
	Replicas int
}

// Bind implements Section.
func (b *Broker) Bind(s *Source) {
	s.String(&b.URL, "nats-url", "NATS_URL", "NATS servers, separated by commas")
	s.String(&b.Credentials, "nats-creds", "NATS_CREDS", "file with the NATS credentials")
	s.String(&b.TLS.CA, "nats-ca", "NATS_CA", "file with the authorities that NATS servers are trusted by")
	s.String(&b.TLS.Certificate, "nats-cert", "NATS_CERT", "file with the certificate shown to NATS")
	s.String(&b.TLS.Key, "nats-key", "NATS_KEY", "file with the key of --nats-cert")
	s.Int(&b.Replicas, "nats-replicas", "NATS_REPLICAS", "copies of each log that the servers keep: 1, or 3 on a cluster")
}

// Validate implements Section.
func (b *Broker) Validate() error {
	if b.URL == "" {
		return errors.New("--nats-url (NATS_URL) is missing; name a server as in nats://127.0.0.1:4222")
	}
	var failures []error
	for server := range strings.SplitSeq(b.URL, ",") {
		failures = append(failures, checkURL("nats-url", strings.TrimSpace(server), "nats", "tls", "ws", "wss"))
	}
	failures = append(failures, checkFile("nats-creds", b.Credentials), b.TLS.check("nats"))
	if b.Replicas < 0 || b.Replicas > 5 {
		failures = append(failures, fmt.Errorf("--nats-replicas %d cannot be; use 1, or 3 on a cluster", b.Replicas))
	}
	return errors.Join(failures...)
}

// ReadModels says how to reach Redis.
type ReadModels struct{ URL string }

// Bind implements Section.
func (r *ReadModels) Bind(s *Source) {
	s.String(&r.URL, "redis-url", "REDIS_URL", "Redis server, as in redis://127.0.0.1:6379/0")
}

// Validate implements Section.
func (r *ReadModels) Validate() error {
	if r.URL == "" {
		return errors.New("--redis-url (REDIS_URL) is missing; name a server as in redis://127.0.0.1:6379/0")
	}
	return checkURL("redis-url", r.URL, "redis", "rediss", "unix")
}

// Listen says where a gRPC server is reached, and by which certificates.
type Listen struct {
	// Address is host:port. Outside the loopback it needs Certificate and Key.
	Address     string
	Certificate string
	Key         string
	// ClientCA, if set, lets in only clients whose certificate it signed.
	ClientCA string
}

// Bind implements Section.
func (l *Listen) Bind(s *Source) {
	s.String(&l.Address, "listen", "RAMPROW_LISTEN", "address to listen on")
	s.String(&l.Certificate, "tls-cert", "RAMPROW_TLS_CERT", "file with the server's certificate")
	s.String(&l.Key, "tls-key", "RAMPROW_TLS_KEY", "file with the key of --tls-cert")
	s.String(&l.ClientCA, "tls-client-ca", "RAMPROW_TLS_CLIENT_CA", "file with the authorities that clients must be signed by")
}

// Validate implements Section.
func (l *Listen) Validate() error {
	host, _, err := net.SplitHostPort(l.Address)
	if err != nil {
		return fmt.Errorf("--listen (RAMPROW_LISTEN) %q is no address; write it as in 127.0.0.1:7101", l.Address)
	}
	failures := []error{
		checkPair("tls-cert", l.Certificate, "tls-key", l.Key),
		checkFile("tls-cert", l.Certificate), checkFile("tls-key", l.Key), checkFile("tls-client-ca", l.ClientCA),
	}
	if l.ClientCA != "" && l.Certificate == "" {
		failures = append(failures, errors.New("--tls-client-ca needs --tls-cert and --tls-key as well"))
	}
	if l.Certificate == "" && !Loopback(host) {
		failures = append(failures, fmt.Errorf("--listen %s is reachable from other machines; give --tls-cert and --tls-key, or listen on 127.0.0.1", l.Address))
	}
	return errors.Join(failures...)
}

// Metrics says where what a process counts is told.
type Metrics struct {
	// Address is host:port; empty: nothing is counted. Certificates are those of Listen.
	Address string
}

// Bind implements Section.
func (m *Metrics) Bind(s *Source) {
	s.String(&m.Address, "metrics-listen", "RAMPROW_METRICS_LISTEN", "address at which metrics are told to Prometheus under /metrics, by the certificates of --listen; none: nothing is counted")
}

// Validate implements Section.
func (m *Metrics) Validate() error {
	if m.Address == "" {
		return nil
	}
	if _, _, err := net.SplitHostPort(m.Address); err != nil {
		return fmt.Errorf("--metrics-listen (RAMPROW_METRICS_LISTEN) %q is no address; write it as in 127.0.0.1:7111", m.Address)
	}
	return nil
}

// Peers says how other Ramprow processes are trusted when they are called.
type Peers struct{ TLS ClientTLS }

// Bind implements Section.
func (p *Peers) Bind(s *Source) {
	s.String(&p.TLS.CA, "peer-ca", "RAMPROW_PEER_CA", "file with the authorities that other Ramprow servers are trusted by")
	s.String(&p.TLS.Certificate, "peer-cert", "RAMPROW_PEER_CERT", "file with the certificate shown to other Ramprow servers")
	s.String(&p.TLS.Key, "peer-key", "RAMPROW_PEER_KEY", "file with the key of --peer-cert")
}

// Validate implements Section.
func (p *Peers) Validate() error { return p.TLS.check("peer") }

// Replicas says how processes of the same role meet each other.
type Replicas struct {
	// Advertise is host:port; empty for where the process listens.
	Advertise string
}

// Bind implements Section.
func (r *Replicas) Bind(s *Source) {
	s.String(&r.Advertise, "advertise", "RAMPROW_ADVERTISE", "address at which other processes of the same role reach this one, if it is not --listen")
}

// Validate implements Section.
func (r *Replicas) Validate() error {
	if r.Advertise == "" {
		return nil
	}
	if host, port, err := net.SplitHostPort(r.Advertise); err != nil || host == "" || port == "" {
		return fmt.Errorf("--advertise (RAMPROW_ADVERTISE) %q is no address; write it as in 10.0.0.7:7101", r.Advertise)
	}
	return nil
}

// Tokens says which keys callers' tokens are verified with.
type Tokens struct {
	// PublicKeys is one or several PEM files, separated by commas.
	PublicKeys string
}

// Bind implements Section.
func (t *Tokens) Bind(s *Source) {
	s.String(&t.PublicKeys, "token-keys", "RAMPROW_TOKEN_KEYS", "PEM files with the public token keys, separated by commas")
}

// Files lists the key files.
func (t *Tokens) Files() []string {
	var files []string
	for file := range strings.SplitSeq(t.PublicKeys, ",") {
		if file = strings.TrimSpace(file); file != "" {
			files = append(files, file)
		}
	}
	return files
}

// Validate implements Section.
func (t *Tokens) Validate() error {
	if len(t.Files()) == 0 {
		return errors.New("--token-keys (RAMPROW_TOKEN_KEYS) is missing; name the PEM file with the public token key")
	}
	var failures []error
	for _, file := range t.Files() {
		failures = append(failures, checkFile("token-keys", file))
	}
	return errors.Join(failures...)
}

// ClientTLS is the client's side of TLS. Everything empty means plain text.
type ClientTLS struct {
	CA          string
	Certificate string
	Key         string
}

func (c ClientTLS) check(prefix string) error {
	return errors.Join(
		checkPair(prefix+"-cert", c.Certificate, prefix+"-key", c.Key),
		checkFile(prefix+"-ca", c.CA), checkFile(prefix+"-cert", c.Certificate), checkFile(prefix+"-key", c.Key),
	)
}

// Loopback tells whether a host can be reached from this machine only.
func Loopback(host string) bool {
	if host == "localhost" {
		return true
	}
	address, err := netip.ParseAddr(host)
	return err == nil && address.IsLoopback()
}

func checkURL(name, value string, schemes ...string) error {
	parsed, err := url.Parse(value)
	if err != nil || parsed.Host == "" && parsed.Path == "" {
		return fmt.Errorf("--%s %q is no URL; write it as in %s://host:port", name, value, schemes[0])
	}
	for _, scheme := range schemes {
		if parsed.Scheme == scheme {
			return nil
		}
	}
	return fmt.Errorf("--%s %q has an unknown scheme; use one of %s", name, value, strings.Join(schemes, ", "))
}

func checkPair(a, aValue, b, bValue string) error {
	if (aValue == "") != (bValue == "") {
		return fmt.Errorf("--%s and --%s belong together; give both or neither", a, b)
	}
	return nil
}

func checkFile(name, path string) error {
	if path == "" {
		return nil
	}
	info, err := os.Stat(path)
	if err != nil {
		return fmt.Errorf("--%s cannot be read: %w", name, err)
	}
	if info.IsDir() {
		return fmt.Errorf("--%s %s is a folder; name a file", name, path)
	}
	return nil
}

// Improvement says how long better plans are searched beside the writer at a time.
type Improvement struct{ For time.Duration }

// DefaultImprovement is how long a search takes where nothing else is said.
const DefaultImprovement = 2 * time.Second

// longestImprovement keeps a search from standing still for a working day.
const longestImprovement = 10 * time.Minute

// Bind implements Section.
func (i *Improvement) Bind(s *Source) {
	s.Duration(&i.For, "improve", "RAMPROW_IMPROVE", "time of one search for a better plan, beside all other work; 0s: none")
}

// Validate implements Section.
func (i *Improvement) Validate() error {
	if i.For < 0 || i.For > longestImprovement {
		return fmt.Errorf("--improve %v cannot be; use 0s for no search, or up to %v", i.For, longestImprovement)
	}
	return nil
}
