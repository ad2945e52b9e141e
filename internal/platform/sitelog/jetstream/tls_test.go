package jetstream_test

import (
	"crypto"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"

	"ramprow/internal/platform/sitelog/jetstream"
)

// authority is a private one that signs certificates into a folder.
type authority struct {
	dir  string
	cert *x509.Certificate
	key  crypto.Signer
}

// identity names the files of one certificate.
type identity struct{ cert, key string }

func newAuthority(t *testing.T) *authority {
	t.Helper()
	a := &authority{dir: t.TempDir()}
	a.sign(t, "ca", &x509.Certificate{IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign})
	return a
}

func (a *authority) file(name string) string { return filepath.Join(a.dir, name+".pem") }

// sign makes a key and a certificate; the first one is the authority's own.
func (a *authority) sign(t *testing.T, name string, template *x509.Certificate) identity {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template.SerialNumber = big.NewInt(time.Now().UnixNano())
	template.Subject = pkix.Name{CommonName: name}
	template.NotBefore, template.NotAfter = time.Now().Add(-time.Hour), time.Now().Add(time.Hour)
	if a.cert == nil {
		a.cert, a.key = template, key
	}
	der, err := x509.CreateCertificate(rand.Reader, template, a.cert, key.Public(), a.key)
	if err != nil {
		t.Fatal(err)
	}
	secret, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	files := identity{cert: a.file(name), key: a.file(name + "-key")}
	writePEM(t, files.cert, "CERTIFICATE", der)
	writePEM(t, files.key, "PRIVATE KEY", secret)
	return files
}

func writePEM(t *testing.T, file, kind string, data []byte) {
	t.Helper()
	if err := os.WriteFile(file, pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: data}), 0o600); err != nil {
		t.Fatal(err)
	}
}

// listenTLS runs a server with a certificate of the authority for an address.
func (a *authority) listenTLS(t *testing.T, ip string, mutual bool) string {
	t.Helper()
	own := a.sign(t, "nats", &x509.Certificate{
		IPAddresses: []net.IP{net.ParseIP(ip)}, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
	})
	config, err := server.GenTLSConfig(&server.TLSConfigOpts{CertFile: own.cert, KeyFile: own.key, CaFile: a.file("ca"), Verify: mutual})
	if err != nil {
		t.Fatal(err)
	}
	config.MinVersion = tls.VersionTLS12
	s := listen(t, &server.Options{JetStream: true, StoreDir: t.TempDir(), TLS: true, TLSConfig: config, TLSVerify: mutual, TLSTimeout: 2})
	if !s.ReadyForConnections(serverPatience) {
		t.Fatal("the server is not ready")
	}
	return s.ClientURL()
}

func (a *authority) client(t *testing.T) identity {
	t.Helper()
	return a.sign(t, "job", &x509.Certificate{ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageClientAuth}})
}

func TestTLS(t *testing.T) {
	ours, theirs := newAuthority(t), newAuthority(t)
	const loopback = "127.0.0.1"
	one, both, elsewhere := ours.listenTLS(t, loopback, false), ours.listenTLS(t, loopback, true), ours.listenTLS(t, "192.0.2.1", false)
	good, foreign := ours.client(t), theirs.client(t)
	for name, c := range map[string]struct {
		o    jetstream.Options
		want string // part of the refusal; empty when it works
	}{
		"the server shows a certificate": {o: jetstream.Options{URL: one, CAFile: ours.file("ca")}},
		"both show a certificate":        {o: jetstream.Options{URL: both, CAFile: ours.file("ca"), CertFile: good.cert, KeyFile: good.key}},
		"no authority is given":          {jetstream.Options{URL: one}, "--nats-ca"},
		"another authority":              {jetstream.Options{URL: one, CAFile: theirs.file("ca")}, "--nats-ca"},
		"a certificate for another host": {jetstream.Options{URL: elsewhere, CAFile: ours.file("ca")}, "valid for 192.0.2.1"},
		"no certificate is shown":        {jetstream.Options{URL: both, CAFile: ours.file("ca")}, "--nats-cert"},
		"a foreign certificate is shown": {jetstream.Options{URL: both, CAFile: ours.file("ca"), CertFile: foreign.cert, KeyFile: foreign.key}, "--nats-cert"},
		"the authority's file is absent": {jetstream.Options{URL: one, CAFile: ours.file("none")}, "none.pem"},
		"the key of another certificate": {jetstream.Options{URL: both, CAFile: ours.file("ca"), CertFile: good.cert, KeyFile: foreign.key}, "does not match"},
	} {
		t.Run(name, func(t *testing.T) {
			if c.want == "" {
				works(t, dial(t, c.o))
				return
			}
			err := refused(t, c.o)
			if !strings.Contains(err.Error(), c.want) {
				t.Errorf("the refusal does not say %q: %v", c.want, err)
			}
		})
	}
}
