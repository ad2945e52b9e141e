package identity

import (
	"crypto/ed25519"
	"crypto/rand"
	"crypto/sha256"
	"crypto/x509"
	"encoding/hex"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

const (
	privateBlock = "PRIVATE KEY" // PKCS #8
	publicBlock  = "PUBLIC KEY"  // SubjectPublicKeyInfo
	privateMode  = 0o600
	publicMode   = 0o644
)

// ErrKeyFile says that a key file cannot be used as it is.
var ErrKeyFile = errors.New("key file cannot be used")

// Key signs tokens.
type Key struct {
	private ed25519.PrivateKey
	id      string
}

// NewKey makes a key from the system's randomness.
func NewKey() (Key, error) {
	_, private, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return Key{}, fmt.Errorf("make a token key: %w", err)
	}
	return newKey(private)
}

func newKey(private ed25519.PrivateKey) (Key, error) {
	public, ok := private.Public().(ed25519.PublicKey)
	if !ok {
		return Key{}, fmt.Errorf("%w: not an Ed25519 key", ErrKeyFile)
	}
	id, err := KeyID(public)
	return Key{private: private, id: id}, err
}

// ID names the key in a token's header.
func (k Key) ID() string { return k.id }

// Public gives the half that verifies.
func (k Key) Public() ed25519.PublicKey {
	public, _ := k.private.Public().(ed25519.PublicKey)
	return public
}

// KeyID derives a key's name from the key itself (the first 8 bytes of the
// SHA-256 of its SubjectPublicKeyInfo, in hexadecimal), so that nobody has to
// configure names and two keys never share one by mistake.
func KeyID(public ed25519.PublicKey) (string, error) {
	der, err := x509.MarshalPKIXPublicKey(public)
	if err != nil {
		return "", fmt.Errorf("name a token key: %w", err)
	}
	sum := sha256.Sum256(der)
	return hex.EncodeToString(sum[:8]), nil
}

// LoadKey reads a private key from a PEM file that only its owner may read.
func LoadKey(path string) (Key, error) {
	info, err := os.Stat(path)
	if err != nil {
		return Key{}, fmt.Errorf("read the token key: %w", err)
	}
	if open := info.Mode().Perm() &^ privateMode; open != 0 {
		return Key{}, fmt.Errorf("%w: %s is open to others (mode %04o); run chmod 600 on it", ErrKeyFile, path, info.Mode().Perm())
	}
	data, err := os.ReadFile(path) //nolint:gosec // the operator names the file
	if err != nil {
		return Key{}, fmt.Errorf("read the token key: %w", err)
	}
	block, _ := pem.Decode(data)
	if block == nil || block.Type != privateBlock {
		return Key{}, fmt.Errorf("%w: %s holds no PEM block %q", ErrKeyFile, path, privateBlock)
	}
	private, err := parsePrivate(block.Bytes)
	if err != nil {
		return Key{}, fmt.Errorf("%s: %w", path, err)
	}
	return newKey(private)
}

// LoadOrCreateKey reads a private key, or makes one if there is no file. Several
// processes may start at once: all of them end up with the same key.
func LoadOrCreateKey(path string) (Key, error) {
	key, err := LoadKey(path)
	if !errors.Is(err, fs.ErrNotExist) {
		return key, err
	}
	if key, err = NewKey(); err != nil {
		return Key{}, err
	}
	if err := key.createFile(path); err != nil && !errors.Is(err, fs.ErrExist) {
		return Key{}, fmt.Errorf("write the token key: %w", err)
	}
	return LoadKey(path)
}

// createFile writes the key beside its place and links it there: the file is
// whole or absent, and an existing one is never replaced.
func (k Key) createFile(path string) error {
	der, err := x509.MarshalPKCS8PrivateKey(k.private)
	if err != nil {
		return err
	}
	temporary, err := os.CreateTemp(filepath.Dir(path), ".token-key-*") // made with mode 0600
	if err != nil {
		return err
	}
	defer func() { _ = os.Remove(temporary.Name()) }()
	err = pem.Encode(temporary, &pem.Block{Type: privateBlock, Bytes: der})
	if err = errors.Join(err, temporary.Sync(), temporary.Close()); err != nil {
		return err
	}
	return os.Link(temporary.Name(), path)
}

// WritePublicKey writes the half that verifies, for processes that must not sign.
func (k Key) WritePublicKey(path string) error {
	der, err := x509.MarshalPKIXPublicKey(k.Public())
	if err != nil {
		return fmt.Errorf("write the public token key: %w", err)
	}
	data := pem.EncodeToMemory(&pem.Block{Type: publicBlock, Bytes: der})
	if err := os.WriteFile(path, data, publicMode); err != nil {
		return fmt.Errorf("write the public token key: %w", err)
	}
	return nil
}

// LoadPublicKeys reads every key of the named PEM files. A file may hold several
// keys, public or private: while a key is being replaced both must verify.
func LoadPublicKeys(paths ...string) ([]ed25519.PublicKey, error) {
	var keys []ed25519.PublicKey
	for _, path := range paths {
		data, err := os.ReadFile(path) //nolint:gosec // the operator names the file
		if err != nil {
			return nil, fmt.Errorf("read the public token key: %w", err)
		}
		found, err := parsePublicKeys(data)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", path, err)
		}
		keys = append(keys, found...)
	}
	return keys, nil
}

func parsePublicKeys(data []byte) ([]ed25519.PublicKey, error) {
	var keys []ed25519.PublicKey
	for block, rest := pem.Decode(data); block != nil; block, rest = pem.Decode(rest) {
		key, err := parsePublic(block)
		if err != nil {
			return nil, err
		}
		keys = append(keys, key)
	}
	if len(keys) == 0 {
		return nil, fmt.Errorf("%w: no PEM block %q in it", ErrKeyFile, publicBlock)
	}
	return keys, nil
}

func parsePublic(block *pem.Block) (ed25519.PublicKey, error) {
	switch block.Type {
	case privateBlock:
		private, err := parsePrivate(block.Bytes)
		if err != nil {
			return nil, err
		}
		return Key{private: private}.Public(), nil
	case publicBlock:
		parsed, err := x509.ParsePKIXPublicKey(block.Bytes)
		if err != nil {
			return nil, fmt.Errorf("%w: %w", ErrKeyFile, err)
		}
		if key, ok := parsed.(ed25519.PublicKey); ok {
			return key, nil
		}
		return nil, fmt.Errorf("%w: %T is not an Ed25519 key", ErrKeyFile, parsed)
	default:
		return nil, fmt.Errorf("%w: PEM block %q is no key", ErrKeyFile, block.Type)
	}
}

func parsePrivate(der []byte) (ed25519.PrivateKey, error) {
	parsed, err := x509.ParsePKCS8PrivateKey(der)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrKeyFile, err)
	}
	private, ok := parsed.(ed25519.PrivateKey)
	if !ok {
		return nil, fmt.Errorf("%w: %T is not an Ed25519 key", ErrKeyFile, parsed)
	}
	return private, nil
}
