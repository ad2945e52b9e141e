package identity_test

import (
	"crypto/ed25519"
	"encoding/base64"
	"encoding/json"
	"maps"
	"strings"
	"testing"
	"time"

	"github.com/golang-jwt/jwt/v5"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/identity"
)

var ada = identity.Identity{Site: "north", Person: "Ada Moss", Roles: []identity.Role{identity.Technician, identity.Dispatcher}}

// noon is the tests' time.
var noon = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

func issue(t testing.TB, key identity.Key, ttl time.Duration) string {
	t.Helper()
	token, err := identity.NewSigner(identity.SignerConfig{Key: key}).Issue(ada, ttl, noon)
	if err != nil {
		t.Fatal(err)
	}
	return token
}

func newVerifier(t testing.TB, now *time.Time, keys ...identity.Key) *identity.Verifier {
	t.Helper()
	cfg := identity.VerifierConfig{Now: func() time.Time { return *now }}
	for _, key := range keys {
		cfg.Keys = append(cfg.Keys, key.Public())
	}
	v, err := identity.NewVerifier(cfg)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// A token is checked here by the standard library alone, so that signer and
// verifier cannot agree on a common mistake.
func TestIssuedTokenIsAStandardOne(t *testing.T) {
	key := newKey(t)
	parts := strings.Split(issue(t, key, time.Hour), ".")
	if len(parts) != 3 {
		t.Fatalf("%d parts", len(parts))
	}
	signature, err := base64.RawURLEncoding.DecodeString(parts[2])
	if err != nil || !ed25519.Verify(key.Public(), []byte(parts[0]+"."+parts[1]), signature) {
		t.Errorf("signature does not verify: %v", err)
	}
	want := []map[string]any{
		{"alg": "EdDSA", "typ": "JWT", "kid": key.ID()},
		{
			"iss": "ramprow", "aud": []any{"ramprow"}, "sub": "Ada Moss", "site": "north",
			"roles": []any{"technician", "dispatcher"},
			"iat":   float64(noon.Unix()), "exp": float64(noon.Unix() + 3600),
		},
	}
	for i, part := range parts[:2] {
		data, err := base64.RawURLEncoding.DecodeString(part)
		if err != nil {
			t.Fatal(err)
		}
		var got map[string]any
		if err := json.Unmarshal(data, &got); err != nil {
			t.Fatal(err)
		}
		if !maps.EqualFunc(got, want[i], func(a, b any) bool { return jsonOf(t, a) == jsonOf(t, b) }) {
			t.Errorf("part %d is %v, want %v", i, got, want[i])
		}
	}
}

func jsonOf(t *testing.T, v any) string {
	t.Helper()
	data, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

func TestOnlyAUsableIdentityGetsAToken(t *testing.T) {
	_, err := identity.NewSigner(identity.SignerConfig{Key: newKey(t)}).Issue(identity.Identity{Site: "a.b"}, time.Hour, noon)
	if fault.KindOf(err) != fault.Invalid {
		t.Errorf("got %v", err)
	}
}

func TestVerifyAcceptsUntilExpiry(t *testing.T) {
	key, now := newKey(t), noon
	v := newVerifier(t, &now, key)
	token := issue(t, key, time.Minute)
	for range 2 { // the second time from memory
		id, err := v.Verify(token)
		if err != nil || id.Site != ada.Site || id.Person != ada.Person || len(id.Roles) != 2 || id.Roles[1] != identity.Dispatcher {
			t.Fatalf("got %+v, %v", id, err)
		}
	}
	now = noon.Add(time.Minute + 4*time.Second)
	if _, err := v.Verify(token); err != nil {
		t.Errorf("clocks may differ by 5 s: %v", err)
	}
	now = noon.Add(time.Minute + 6*time.Second)
	for range 2 {
		if _, err := v.Verify(token); fault.ReasonOf(err) != "TOKEN_EXPIRED" {
			t.Errorf("a remembered token must expire too: %v", err)
		}
	}
}

// forge signs claims by any method, as an attacker or a foreign issuer would.
func forge(t *testing.T, method jwt.SigningMethod, kid string, with any, change func(jwt.MapClaims)) string {
	t.Helper()
	content := jwt.MapClaims{
		"iss": "ramprow", "aud": "ramprow", "sub": "Ada Moss", "site": "north", "roles": []string{"owner"},
		"iat": noon.Unix(), "exp": noon.Add(time.Hour).Unix(),
	}
	change(content)
	token := jwt.NewWithClaims(method, content)
	token.Header["kid"] = kid
	signed, err := token.SignedString(with)
	if err != nil {
		t.Fatal(err)
	}
	return signed
}

func TestVerifyRefuses(t *testing.T) {
	key, stranger, now := newKey(t), newKey(t), noon
	v := newVerifier(t, &now, key)
	_, private, err := ed25519.GenerateKey(nil)
	if err != nil {
		t.Fatal(err)
	}
	own, err := identity.LoadKey(rfcKeyFile(t))
	if err != nil {
		t.Fatal(err)
	}
	seed, _ := base64.RawURLEncoding.DecodeString(rfcPrivate)
	rfc := ed25519.NewKeyFromSeed(seed)
	if err := v.SetKeys([]ed25519.PublicKey{key.Public(), own.Public()}); err != nil {
		t.Fatal(err)
	}
	asIs := func(jwt.MapClaims) {}
	claim := func(name string, value any) func(jwt.MapClaims) {
		return func(c jwt.MapClaims) { c[name] = value }
	}
	without := func(name string) func(jwt.MapClaims) { return func(c jwt.MapClaims) { delete(c, name) } }
	good := issue(t, key, time.Hour)

	tests := []struct{ name, token, reason string }{
		{"no token", "", "TOKEN_MISSING"},
		{"garbage", "garbage", "TOKEN_INVALID"},
		{"only dots", "..", "TOKEN_INVALID"},
		{"too long", strings.Repeat("a", 5000), "TOKEN_INVALID"},
		{"signature cut off", good[:strings.LastIndex(good, ".")+1], "TOKEN_INVALID"},
		{"signature changed", flipLast(good), "TOKEN_INVALID"},
		{"no algorithm", forge(t, jwt.SigningMethodNone, own.ID(), jwt.UnsafeAllowNoneSignatureType, asIs), "TOKEN_INVALID"},
		{"public key as a shared secret", forge(t, jwt.SigningMethodHS256, own.ID(), []byte(own.Public()), asIs), "TOKEN_INVALID"},
		{"a stranger's key", issue(t, stranger, time.Hour), "TOKEN_INVALID"},
		{"a stranger's key under our key's name", forge(t, jwt.SigningMethodEdDSA, own.ID(), private, asIs), "TOKEN_INVALID"},
		{"key not named", forge(t, jwt.SigningMethodEdDSA, "", rfc, asIs), "TOKEN_INVALID"},
		{"expired", forge(t, jwt.SigningMethodEdDSA, own.ID(), rfc, claim("exp", noon.Add(-time.Minute).Unix())), "TOKEN_EXPIRED"},
		{"never expires", forge(t, jwt.SigningMethodEdDSA, own.ID(), rfc, without("exp")), "TOKEN_INVALID"},
		{"issued tomorrow", forge(t, jwt.SigningMethodEdDSA, own.ID(), rfc, claim("iat", noon.Add(24*time.Hour).Unix())), "TOKEN_INVALID"},
		{"another issuer", forge(t, jwt.SigningMethodEdDSA, own.ID(), rfc, claim("iss", "else")), "TOKEN_INVALID"},
		{"no issuer", forge(t, jwt.SigningMethodEdDSA, own.ID(), rfc, without("iss")), "TOKEN_INVALID"},
		{"for somebody else", forge(t, jwt.SigningMethodEdDSA, own.ID(), rfc, claim("aud", "else")), "TOKEN_INVALID"},
		{"for nobody", forge(t, jwt.SigningMethodEdDSA, own.ID(), rfc, without("aud")), "TOKEN_INVALID"},
		{"no site", forge(t, jwt.SigningMethodEdDSA, own.ID(), rfc, without("site")), "TOKEN_INVALID"},
		{"a site that is a pattern", forge(t, jwt.SigningMethodEdDSA, own.ID(), rfc, claim("site", ">")), "TOKEN_INVALID"},
		{"no person", forge(t, jwt.SigningMethodEdDSA, own.ID(), rfc, without("sub")), "TOKEN_INVALID"},
		{"a role that nobody has", forge(t, jwt.SigningMethodEdDSA, own.ID(), rfc, claim("roles", []string{"king"})), "TOKEN_INVALID"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := v.Verify(tt.token)
			if fault.KindOf(err) != fault.Unauthenticated || fault.ReasonOf(err) != tt.reason {
				t.Errorf("got %v (%s), want %s", err, fault.ReasonOf(err), tt.reason)
			}
		})
	}
	if _, err := v.Verify(forge(t, jwt.SigningMethodEdDSA, own.ID(), rfc, asIs)); err != nil {
		t.Errorf("the forger's unchanged token must be fine, or the refusals above prove nothing: %v", err)
	}
}

func flipLast(token string) string {
	// The last but one digit carries six full bits of the signature.
	i := len(token) - 2
	other := byte('A')
	if token[i] == other {
		other = 'B'
	}
	return token[:i] + string(other) + token[i+1:]
}

func TestKeysAreReplacedWithoutAGap(t *testing.T) {
	oldKey, newer, now := newKey(t), newKey(t), noon
	v := newVerifier(t, &now, oldKey, newer)
	before, after := issue(t, oldKey, time.Hour), issue(t, newer, time.Hour)
	for _, token := range []string{before, after} {
		if _, err := v.Verify(token); err != nil {
			t.Fatalf("both keys verify meanwhile: %v", err)
		}
	}
	if err := v.SetKeys([]ed25519.PublicKey{newer.Public()}); err != nil {
		t.Fatal(err)
	}
	if _, err := v.Verify(before); fault.ReasonOf(err) != "TOKEN_INVALID" {
		t.Errorf("a withdrawn key's token must not be remembered: %v", err)
	}
	if _, err := v.Verify(after); err != nil {
		t.Errorf("the new key's token: %v", err)
	}
	if err := v.SetKeys(nil); err == nil {
		t.Error("no key at all must be refused")
	}
}

func FuzzVerify(f *testing.F) {
	key, now := newKey(f), noon
	v := newVerifier(f, &now, key)
	good := issue(f, key, time.Hour)
	for _, seed := range []string{good, good + "=", good[1:], "", "a.b.c", strings.ToUpper(good), good + "." + good} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, token string) {
		if _, err := v.Verify(token); err == nil && token != good {
			t.Errorf("accepted %q", token)
		}
	})
}

func BenchmarkVerify(b *testing.B) {
	key, now := newKey(b), noon
	token := issue(b, key, time.Hour)
	b.Run("first", func(b *testing.B) {
		for b.Loop() {
			if _, err := newVerifier(b, &now, key).Verify(token); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("again", func(b *testing.B) {
		v := newVerifier(b, &now, key)
		b.ReportAllocs()
		for b.Loop() {
			if _, err := v.Verify(token); err != nil {
				b.Fatal(err)
			}
		}
	})
}
