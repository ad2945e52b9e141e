package rpc_test

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/rpc"
	"ramprow/internal/platform/telemetry"
	logv1 "ramprow/proto/ramprow/log/v1"
)

// authority signs certificates for the loopback.
type authority struct {
	t           *testing.T
	certificate *x509.Certificate
	key         *ecdsa.PrivateKey
	file        string
}

func newAuthority(t *testing.T) *authority {
	t.Helper()
	a := &authority{t: t, file: filepath.Join(t.TempDir(), "ca.pem")}
	a.key = newECKey(t)
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "probe authority"},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, a.key.Public(), a.key)
	if err != nil {
		t.Fatal(err)
	}
	if a.certificate, err = x509.ParseCertificate(der); err != nil {
		t.Fatal(err)
	}
	writePEM(t, a.file, "CERTIFICATE", der)
	return a
}

// sign writes a certificate for 127.0.0.1 and its key into the named files.
func (a *authority) sign(certificate, key string) {
	a.t.Helper()
	private := newECKey(a.t)
	template := &x509.Certificate{
		SerialNumber: big.NewInt(2), Subject: pkix.Name{CommonName: "probe"},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth},
	}
	der, err := x509.CreateCertificate(rand.Reader, template, a.certificate, private.Public(), a.key)
	if err != nil {
		a.t.Fatal(err)
	}
	writePEM(a.t, certificate, "CERTIFICATE", der)
	if der, err = x509.MarshalPKCS8PrivateKey(private); err != nil {
		a.t.Fatal(err)
	}
	writePEM(a.t, key, "PRIVATE KEY", der)
}

func newECKey(t *testing.T) *ecdsa.PrivateKey {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	return key
}

func writePEM(t *testing.T, path, block string, der []byte) {
	t.Helper()
	if err := os.WriteFile(path, pem.EncodeToMemory(&pem.Block{Type: block, Bytes: der}), 0o600); err != nil {
		t.Fatal(err)
	}
}

// pair names two files in a fresh folder.
func pair(t *testing.T) (certificate, key string) {
	t.Helper()
	folder := t.TempDir()
	return filepath.Join(folder, "cert.pem"), filepath.Join(folder, "key.pem")
}

func (b *bench) callOver(tlsFiles *rpc.ClientTLS) error {
	b.client.TLS = tlsFiles
	_, err := logv1.NewLogServiceClient(b.dial(identity.Owner)).DescribeLog(soon(b.t), &logv1.DescribeLogRequest{})
	return err
}

func TestTLS(t *testing.T) {
	ours, theirs := newAuthority(t), newAuthority(t)
	certificate, key := pair(t)
	ours.sign(certificate, key)
	b := start(t, setup{
		server:   rpc.ServerConfig{TLS: &rpc.ServerTLS{Certificate: certificate, Key: key}},
		register: withLog(&fakeLog{}),
	})
	if err := b.callOver(&rpc.ClientTLS{CA: ours.file}); err != nil {
		t.Errorf("with our authority: %v", err)
	}
	wantFault(t, b.callOver(&rpc.ClientTLS{CA: theirs.file}), fault.Unavailable, "UNAVAILABLE")
	wantFault(t, b.callOver(&rpc.ClientTLS{CA: ours.file, ServerName: "else.example"}), fault.Unavailable, "UNAVAILABLE")
	wantFault(t, b.callOver(nil), fault.Unavailable, "UNAVAILABLE") // plain text

	old := &tls.Config{MaxVersion: tls.VersionTLS12, InsecureSkipVerify: true}
	if conn, err := tls.Dial("tcp", b.client.Target, old); err == nil {
		_ = conn.Close()
		t.Error("TLS 1.2 was accepted")
	}

	// Both files are replaced while the server runs.
	theirs.sign(certificate, key)
	if err := b.callOver(&rpc.ClientTLS{CA: theirs.file}); err != nil {
		t.Errorf("after the change, with the new authority: %v", err)
	}
	wantFault(t, b.callOver(&rpc.ClientTLS{CA: ours.file}), fault.Unavailable, "UNAVAILABLE")

	// A broken file leaves the last good certificate in use.
	writePEM(t, key, "PRIVATE KEY", []byte("half a k"))
	if err := b.callOver(&rpc.ClientTLS{CA: theirs.file}); err != nil {
		t.Errorf("with a broken file: %v", err)
	}
}

func TestClientCertificates(t *testing.T) {
	ours, theirs := newAuthority(t), newAuthority(t)
	certificate, key := pair(t)
	ours.sign(certificate, key)
	b := start(t, setup{
		server:   rpc.ServerConfig{TLS: &rpc.ServerTLS{Certificate: certificate, Key: key, ClientCA: ours.file}},
		register: withLog(&fakeLog{}),
	})
	own, ownKey := pair(t)
	ours.sign(own, ownKey)
	if err := b.callOver(&rpc.ClientTLS{CA: ours.file, Certificate: own, Key: ownKey}); err != nil {
		t.Errorf("with a certificate of ours: %v", err)
	}
	wantFault(t, b.callOver(&rpc.ClientTLS{CA: ours.file}), fault.Unavailable, "UNAVAILABLE")
	theirs.sign(own, ownKey)
	wantFault(t, b.callOver(&rpc.ClientTLS{CA: ours.file, Certificate: own, Key: ownKey}), fault.Unavailable, "UNAVAILABLE")
}

func TestAPipeNeedsNoHandshake(t *testing.T) {
	ours := newAuthority(t)
	certificate, key := pair(t)
	ours.sign(certificate, key)
	b := start(t, setup{
		overPipe: true,
		server:   rpc.ServerConfig{TLS: &rpc.ServerTLS{Certificate: certificate, Key: key}},
		register: withLog(&fakeLog{}),
	})
	if err := b.callOver(nil); err != nil {
		t.Error(err)
	}
}

func TestTLSFilesThatCannotBeRead(t *testing.T) {
	ours := newAuthority(t)
	certificate, key := pair(t)
	ours.sign(certificate, key)
	for name, files := range map[string]*rpc.ServerTLS{
		"no certificate":   {Certificate: "none", Key: key},
		"key for another":  {Certificate: certificate, Key: ours.file},
		"no authority":     {Certificate: certificate, Key: key, ClientCA: "none"},
		"authority is key": {Certificate: certificate, Key: key, ClientCA: key},
	} {
		b := newServer(t, setup{})
		cfg := rpc.ServerConfig{Telemetry: b.telemetry, TLS: files}
		if cfg.Verifier, _ = identity.NewVerifier(identity.VerifierConfig{Keys: keysOf(b.key)}); cfg.Verifier == nil {
			t.Fatal("no verifier")
		}
		if _, err := rpc.NewServer(cfg); err == nil {
			t.Errorf("%s: the server started", name)
		}
		client := rpc.ClientConfig{
			Telemetry: b.telemetry, Target: "127.0.0.1:1",
			TLS: &rpc.ClientTLS{CA: files.ClientCA, Certificate: files.Certificate, Key: files.Key},
		}
		if conn, err := rpc.Dial(client); err == nil {
			_ = conn.Close()
			t.Errorf("%s: the client dialled", name)
		}
	}
}

func TestPlainTextStaysOnThisMachine(t *testing.T) {
	b := newServer(t, setup{register: withLog(&fakeLog{})})
	if err := b.server.Serve(listen(t, "0.0.0.0:0")); !errors.Is(err, rpc.ErrPlaintext) {
		t.Errorf("listening everywhere: got %v, want ErrPlaintext", err)
	}
	tel := newTelemetry(t, telemetry.Config{Log: &logBuffer{}})
	for target, allowed := range map[string]bool{
		"127.0.0.1:7101": true, "localhost:7101": true, "[::1]:7101": true, "dns:///localhost:7101": true,
		"127.8.9.1:7101": true, "unix:///run/ramprow.sock": true,
		"job:7101": false, "10.0.0.4:7101": false, "dns:///job.example:7101": false, "0.0.0.0:7101": false,
		"localhost.example:7101": false, "[fe80::1]:7101": false, "127.0.0.1": false,
	} {
		conn, err := rpc.Dial(rpc.ClientConfig{Telemetry: tel, Target: target})
		if err == nil {
			_ = conn.Close()
		}
		if (err == nil) != allowed || err != nil && !errors.Is(err, rpc.ErrPlaintext) {
			t.Errorf("%s: got %v, allowed %v", target, err, allowed)
		}
	}
}
