package personal

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/hkdf"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"strings"
)

// keySize is that of AES-256 in bytes.
const keySize = 32

// A sealed text is {sealed:ID:DATA}. ID names the key; DATA is nonce and
// ciphertext in base64url (RFC 4648). Neither contains a brace or a colon.
const (
	opening = "{sealed:"
	closing = "}"
)

// Key seals and opens the text of one job.
type Key struct {
	site, id string
	nonces   []byte // key of the code that makes nonces
	sums     []byte // key of the code that makes pseudonyms
	aead     cipher.AEAD
}

// newKey makes three keys of one: to encrypt, to make nonces, and to make
// pseudonyms (RFC 5869).
func newKey(site, id string, secret []byte) (*Key, error) {
	if len(secret) != keySize {
		return nil, fmt.Errorf("the key %s has %d bytes instead of %d", id, len(secret), keySize)
	}
	both, err := hkdf.Expand(sha256.New, secret, "ramprow personal data 1", 2*keySize)
	if err != nil {
		return nil, fmt.Errorf("derive from the key %s: %w", id, err)
	}
	sums, err := hkdf.Expand(sha256.New, secret, "ramprow pseudonyms 1", keySize)
	if err != nil {
		return nil, fmt.Errorf("derive from the key %s: %w", id, err)
	}
	block, err := aes.NewCipher(both[:keySize])
	if err != nil {
		return nil, fmt.Errorf("use the key %s: %w", id, err)
	}
	aead, err := cipher.NewGCM(block)
	if err != nil {
		return nil, fmt.Errorf("use the key %s: %w", id, err)
	}
	return &Key{site: site, id: id, nonces: both[keySize:], sums: sums, aead: aead}, nil
}

// Seal gives the sealed form of a text; nothing stays nothing. The nonce follows
// from the text (HMAC-SHA-256), so that a repeated request is the same request,
// and two texts share one only by a collision of 96 bits within one job.
func (k *Key) Seal(text string) string {
	if text == "" {
		return ""
	}
	code := hmac.New(sha256.New, k.nonces)
	_, _ = code.Write([]byte(text)) // a hash never fails
	nonce := code.Sum(nil)[:k.aead.NonceSize()]
	return opening + k.id + ":" + base64.RawURLEncoding.EncodeToString(k.aead.Seal(nonce, nonce, []byte(text), k.bound())) + closing
}

// Pseudonym gives a name for a text that is always the same under this key, and
// by which nobody who lacks the key can check a guess: the first 128 bits of
// HMAC-SHA-256 (RFC 2104) in hexadecimal. Nothing stays nothing.
func (k *Key) Pseudonym(text string) string {
	if text == "" {
		return ""
	}
	code := hmac.New(sha256.New, k.sums)
	_, _ = code.Write([]byte(text)) // a hash never fails
	return hex.EncodeToString(code.Sum(nil)[:16])
}

// open gives the text of the data part.
func (k *Key) open(data string) (string, error) {
	raw, err := base64.RawURLEncoding.DecodeString(data)
	if err != nil || len(raw) < k.aead.NonceSize() {
		return "", fmt.Errorf("sealed text under %s is cut or changed", k.id)
	}
	nonce, sealed := raw[:k.aead.NonceSize()], raw[k.aead.NonceSize():]
	text, err := k.aead.Open(nil, nonce, sealed, k.bound())
	if err != nil {
		return "", fmt.Errorf("sealed text under %s is not of this site and job, or was changed: %w", k.id, err)
	}
	return string(text), nil
}

// bound is authenticated with the text: it opens at its own site and under its own key only.
func (k *Key) bound() []byte { return []byte(k.site + "/" + k.id) }

// Sealed tells whether a text holds sealed text.
func Sealed(text string) bool { return strings.Contains(text, opening) }

// replace puts what open gives in the place of each sealed text within a text.
func replace(text string, open func(id, data string) string) string {
	var out strings.Builder
	for {
		before, rest, found := strings.Cut(text, opening)
		out.WriteString(before)
		if !found {
			return out.String()
		}
		inner, after, closed := strings.Cut(rest, closing)
		id, data, parted := strings.Cut(inner, ":")
		if !closed || !parted || id == "" || strings.Contains(inner, "{") {
			out.WriteString(opening)
			text = rest
			continue
		}
		out.WriteString(open(id, data))
		text = after
	}
}
