package identity_test

import (
	"crypto/ecdsa"
	"crypto/ed25519"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"encoding/base64"
	"encoding/pem"
	"errors"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"ramprow/internal/platform/identity"
)

// The key pair of RFC 8037, appendix A.1 and A.2.
const (
	rfcPrivate = "nWGxne_9WmC6hEr0kuwsxERJxWl7MmkZcDusAxyuf2A"
	rfcPublic  = "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo"
)

func rfcKeyFile(t *testing.T) string {
	t.Helper()
	seed, err := base64.RawURLEncoding.DecodeString(rfcPrivate)
	if err != nil {
		t.Fatal(err)
	}
	return writePrivate(t, ed25519.NewKeyFromSeed(seed))
}

func writePrivate(t *testing.T, private any) string {
	t.Helper()
	der, err := x509.MarshalPKCS8PrivateKey(private)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "key.pem")
	if err := os.WriteFile(path, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der}), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestKeyOfThePublishedPair(t *testing.T) {
	key, err := identity.LoadKey(rfcKeyFile(t))
	if err != nil {
		t.Fatal(err)
	}
	if got := base64.RawURLEncoding.EncodeToString(key.Public()); got != rfcPublic {
		t.Errorf("public key %s, RFC 8037 says %s", got, rfcPublic)
	}
	// openssl pkey -pubout -outform DER | sha256sum, first 16 digits (OpenSSL 3.0).
	if got, want := key.ID(), "06e3fd8fda29bb60"; got != want {
		t.Errorf("key id %s, want %s", got, want)
	}
}

func TestLoadOrCreateKeepsOneKeyForAllWhoStartAtOnce(t *testing.T) {
	path := filepath.Join(t.TempDir(), "token.pem")
	ids := make([]string, 8)
	var group sync.WaitGroup
	for i := range ids {
		group.Go(func() {
			key, err := identity.LoadOrCreateKey(path)
			if err != nil {
				t.Error(err)
			}
			ids[i] = key.ID()
		})
	}
	group.Wait()
	for _, id := range ids {
		if id != ids[0] || id == "" {
			t.Fatalf("several keys: %v", ids)
		}
	}
	info, err := os.Stat(path)
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("key file %v, %v", info.Mode(), err)
	}
	if rest, _ := filepath.Glob(filepath.Join(filepath.Dir(path), ".token-key-*")); len(rest) > 0 {
		t.Errorf("left behind: %v", rest)
	}
}

func TestKeyFilesThatAreRefused(t *testing.T) {
	other, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	open := rfcKeyFile(t)
	if err := os.Chmod(open, 0o644); err != nil {
		t.Fatal(err)
	}
	garbage := filepath.Join(t.TempDir(), "garbage.pem")
	if err := os.WriteFile(garbage, []byte("no key at all"), 0o600); err != nil {
		t.Fatal(err)
	}
	for name, path := range map[string]string{
		"readable by others": open, "another algorithm": writePrivate(t, other), "no PEM": garbage,
	} {
		t.Run(name, func(t *testing.T) {
			if _, err := identity.LoadKey(path); !errors.Is(err, identity.ErrKeyFile) {
				t.Errorf("got %v, want ErrKeyFile", err)
			}
			// An unusable file must be mended by a person, not replaced.
			if _, err := identity.LoadOrCreateKey(path); !errors.Is(err, identity.ErrKeyFile) {
				t.Errorf("load or create: got %v, want ErrKeyFile", err)
			}
		})
	}
	if _, err := identity.LoadOrCreateKey(filepath.Join(t.TempDir(), "no", "such", "folder")); err == nil {
		t.Error("a key in a folder that is not there cannot be made")
	}
}

func TestPublicKeyFilesMayHoldSeveralKeys(t *testing.T) {
	folder := t.TempDir()
	var joined []byte
	var want []string
	for _, name := range []string{"old.pem", "new.pem"} {
		key := newKey(t)
		want = append(want, key.ID())
		path := filepath.Join(folder, name)
		if err := key.WritePublicKey(path); err != nil {
			t.Fatal(err)
		}
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		joined = append(joined, data...)
	}
	both := filepath.Join(folder, "both.pem")
	if err := os.WriteFile(both, joined, 0o600); err != nil {
		t.Fatal(err)
	}
	keys, err := identity.LoadPublicKeys(both, rfcKeyFile(t))
	if err != nil || len(keys) != 3 {
		t.Fatalf("%d keys, %v", len(keys), err)
	}
	for i, id := range want {
		if got, _ := identity.KeyID(keys[i]); got != id {
			t.Errorf("key %d is %s, want %s", i, got, id)
		}
	}
}

func TestPublicKeyFilesThatAreRefused(t *testing.T) {
	other, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	der, err := x509.MarshalPKIXPublicKey(other.Public())
	if err != nil {
		t.Fatal(err)
	}
	for name, content := range map[string][]byte{
		"empty":             nil,
		"another algorithm": pem.EncodeToMemory(&pem.Block{Type: "PUBLIC KEY", Bytes: der}),
		"broken":            pem.EncodeToMemory(&pem.Block{Type: "PUBLIC KEY", Bytes: []byte("x")}),
		"a certificate":     pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}),
	} {
		path := filepath.Join(t.TempDir(), "public.pem")
		if err := os.WriteFile(path, content, 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := identity.LoadPublicKeys(path); !errors.Is(err, identity.ErrKeyFile) {
			t.Errorf("%s: got %v, want ErrKeyFile", name, err)
		}
	}
}

func newKey(t testing.TB) identity.Key {
	t.Helper()
	key, err := identity.NewKey()
	if err != nil {
		t.Fatal(err)
	}
	return key
}
