package desk

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"net/http"
	"time"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/readmodel"
)

const (
	cookieName  = "ramprow_session"
	sessionLife = 12 * time.Hour // a shift, with overtime
)

// session is one person who signed in at one browser.
type session struct {
	identity.Identity

	token string
}

// sessions keeps who signed in. The browser's cookie is a random secret; the
// store knows its hash alone, so who reads the store cannot be anybody.
type sessions struct {
	drawer   readmodel.Drawer
	verifier *identity.Verifier
	now      func() time.Time
}

func (s sessions) begin(ctx context.Context, token string) (secret string, err error) {
	id, err := s.verifier.Verify(token)
	if err != nil {
		return "", err
	}
	if _, _, program := id.OfCalendar(); program {
		return "", fault.New(fault.Denied, "TOKEN_OF_CALENDAR", "this is the address of a calendar and opens no page; sign in with a token of your own")
	}
	secret = rand.Text()
	return secret, s.drawer.Keep(ctx, hashed(secret), []byte(token), sessionLife)
}

var errSignedOut = fault.New(fault.Unauthenticated, "SIGNED_OUT", "you are not signed in; sign in again")

// find gives the session of a request, or errSignedOut.
func (s sessions) find(r *http.Request) (*session, error) {
	cookie, err := r.Cookie(cookieName)
	if errors.Is(err, http.ErrNoCookie) {
		return nil, errSignedOut
	}
	if err != nil {
		return nil, err
	}
	token, err := s.drawer.Find(r.Context(), hashed(cookie.Value))
	if err != nil {
		return nil, err
	}
	if token == nil {
		return nil, errSignedOut
	}
	id, err := s.verifier.Verify(string(token))
	if err != nil {
		return nil, errSignedOut
	}
	return &session{Identity: id, token: string(token)}, nil
}

func (s sessions) end(r *http.Request) error {
	cookie, err := r.Cookie(cookieName)
	if err != nil {
		return nil //nolint:nilerr // who has no cookie is signed out already
	}
	return s.drawer.Drop(r.Context(), hashed(cookie.Value))
}

func hashed(secret string) string {
	sum := sha256.Sum256([]byte(secret))
	return hex.EncodeToString(sum[:])
}

func (d *Desk) setCookie(w http.ResponseWriter, secret string) {
	life := int(sessionLife / time.Second)
	if secret == "" {
		life = -1
	}
	http.SetCookie(w, &http.Cookie{ //nolint:gosec // Secure is set wherever the desk is reached by TLS
		Name: cookieName, Value: secret, Path: "/", MaxAge: life,
		HttpOnly: true, Secure: d.Secure, SameSite: http.SameSiteStrictMode,
	})
}
