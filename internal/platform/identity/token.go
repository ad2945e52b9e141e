package identity

import (
	"cmp"
	"fmt"
	"time"

	"github.com/golang-jwt/jwt/v5"
)

const (
	// DefaultIssuer is the iss claim when none is configured.
	DefaultIssuer = "ramprow"
	// DefaultAudience is the aud claim when none is configured.
	DefaultAudience = "ramprow"
)

// claims is a token's content. The person is the subject.
type claims struct {
	jwt.RegisteredClaims

	Site  string `json:"site"`
	Roles []Role `json:"roles"`
}

// SignerConfig says who issues tokens for whom. The zero values mean the defaults.
type SignerConfig struct {
	Key      Key
	Issuer   string
	Audience string
}

// Signer issues tokens.
type Signer struct{ cfg SignerConfig }

// NewSigner makes a signer.
func NewSigner(cfg SignerConfig) *Signer {
	cfg.Issuer = cmp.Or(cfg.Issuer, DefaultIssuer)
	cfg.Audience = cmp.Or(cfg.Audience, DefaultAudience)
	return &Signer{cfg: cfg}
}

// Issue signs a token that is good from now until now+ttl, to the second.
func (s *Signer) Issue(id Identity, ttl time.Duration, now time.Time) (string, error) {
	if err := id.Validate(); err != nil {
		return "", err
	}
	token := jwt.NewWithClaims(jwt.SigningMethodEdDSA, claims{
		RegisteredClaims: jwt.RegisteredClaims{
			Issuer:    s.cfg.Issuer,
			Audience:  jwt.ClaimStrings{s.cfg.Audience},
			Subject:   id.Person,
			IssuedAt:  jwt.NewNumericDate(now),
			ExpiresAt: jwt.NewNumericDate(now.Add(ttl)),
		},
		Site:  id.Site,
		Roles: id.Roles,
	})
	token.Header["kid"] = s.cfg.Key.ID()
	signed, err := token.SignedString(s.cfg.Key.private)
	if err != nil {
		return "", fmt.Errorf("sign a token: %w", err)
	}
	return signed, nil
}
