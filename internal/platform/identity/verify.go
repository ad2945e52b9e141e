package identity

import (
	"cmp"
	"crypto/ed25519"
	"crypto/sha256"
	"errors"
	"fmt"
	"sync/atomic"
	"time"

	"github.com/golang-jwt/jwt/v5"

	"ramprow/internal/platform/fault"
)

const (
	// maxTokenBytes refuses oversized tokens before any work is done on them.
	maxTokenBytes = 4096
	// defaultCacheSize holds the tokens of a large workshop many times over.
	defaultCacheSize = 4096
	// clockLeeway is what two machines' clocks may differ by.
	clockLeeway = 5 * time.Second
)

// VerifierConfig says which tokens to believe. The zero values of everything
// but Keys mean the defaults.
type VerifierConfig struct {
	// Keys verify; more than one while a key is being replaced.
	Keys     []ed25519.PublicKey
	Issuer   string
	Audience string
	// CacheSize bounds the number of verified tokens that are remembered.
	CacheSize int
	// Now is the clock.
	Now func() time.Time
}

// Verifier checks tokens. A verified token is remembered until it expires, so
// that only the first call of many pays for the signature.
type Verifier struct {
	cfg    VerifierConfig
	parser *jwt.Parser
	trust  atomic.Pointer[trust]
}

// trust is a key set with what was verified by it: new keys start with an empty
// cache, so a withdrawn key's tokens stop at once.
type trust struct {
	keys     map[string]ed25519.PublicKey
	verified *cache
}

// NewVerifier makes a verifier for a set of keys.
func NewVerifier(cfg VerifierConfig) (*Verifier, error) {
	cfg.Issuer = cmp.Or(cfg.Issuer, DefaultIssuer)
	cfg.Audience = cmp.Or(cfg.Audience, DefaultAudience)
	if cfg.CacheSize <= 0 {
		cfg.CacheSize = defaultCacheSize
	}
	if cfg.Now == nil {
		cfg.Now = time.Now
	}
	v := &Verifier{cfg: cfg, parser: jwt.NewParser(
		jwt.WithValidMethods([]string{jwt.SigningMethodEdDSA.Alg()}),
		jwt.WithIssuer(cfg.Issuer),
		jwt.WithAudience(cfg.Audience),
		jwt.WithExpirationRequired(),
		jwt.WithIssuedAt(),
		jwt.WithLeeway(clockLeeway),
		jwt.WithTimeFunc(cfg.Now),
		jwt.WithStrictDecoding(),
	)}
	return v, v.SetKeys(cfg.Keys)
}

// SetKeys replaces the key set and forgets every verified token.
func (v *Verifier) SetKeys(keys []ed25519.PublicKey) error {
	if len(keys) == 0 {
		return fmt.Errorf("%w: no key to verify tokens with; name at least one", ErrKeyFile)
	}
	next := &trust{keys: map[string]ed25519.PublicKey{}, verified: newCache(v.cfg.CacheSize)}
	for _, key := range keys {
		id, err := KeyID(key)
		if err != nil {
			return err
		}
		next.keys[id] = key
	}
	v.trust.Store(next)
	return nil
}

// Verify gives the identity that a token proves, or a fault of kind Unauthenticated.
func (v *Verifier) Verify(token string) (Identity, error) {
	if token == "" {
		return Identity{}, fault.New(fault.Unauthenticated, "TOKEN_MISSING", "the call carries no token; sign in and send it as authorization: Bearer <token>")
	}
	if len(token) > maxTokenBytes {
		return Identity{}, refuse("TOKEN_INVALID", errors.New("longer than any token that is issued"))
	}
	trusted, now := v.trust.Load(), v.cfg.Now()
	sum := digestOf(token)
	if id, ok := trusted.verified.get(sum, now); ok {
		return id, nil
	}
	content := &claims{}
	if _, err := v.parser.ParseWithClaims(token, content, trusted.key); err != nil {
		if errors.Is(err, jwt.ErrTokenExpired) {
			return Identity{}, refuse("TOKEN_EXPIRED", err)
		}
		return Identity{}, refuse("TOKEN_INVALID", err)
	}
	id := Identity{Site: content.Site, Person: content.Subject, Roles: content.Roles}
	if err := id.Validate(); err != nil {
		return Identity{}, refuse("TOKEN_INVALID", err)
	}
	trusted.verified.put(sum, id, content.ExpiresAt.Add(clockLeeway))
	return id, nil
}

// digestOf hashes without putting a copy of the token on the heap.
func digestOf(token string) digest {
	var buffer [maxTokenBytes]byte
	return sha256.Sum256(buffer[:copy(buffer[:], token)])
}

// key finds the key that a token's header names.
func (t *trust) key(token *jwt.Token) (any, error) {
	id, _ := token.Header["kid"].(string)
	key, ok := t.keys[id]
	if !ok {
		return nil, fmt.Errorf("key %q is not trusted here", id)
	}
	return key, nil
}

func refuse(reason string, cause error) error {
	if reason == "TOKEN_EXPIRED" {
		return fault.New(fault.Unauthenticated, reason, "the token has expired; sign in again").Because(cause)
	}
	return fault.New(fault.Unauthenticated, reason, "the token proves nothing here; sign in again").Because(cause)
}
