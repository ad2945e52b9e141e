package desk

import (
	"net/http"
	"time"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/identity"
)

const (
	triesAllowed = 8
	triesLife    = 5 * time.Minute
)

// signInView is the page of somebody who is not known yet.
type signInView struct {
	PINs  bool
	Sites []string
}

func (d *Desk) showSignIn(v *visit) error {
	view := signInView{PINs: d.People != nil}
	if d.People != nil {
		var err error
		if view.Sites, err = d.People.sites(); err != nil {
			return err
		}
	}
	return v.render("signin", view)
}

// signIn takes a token, or a name with a PIN.
func (d *Desk) signIn(v *visit) error {
	token := v.form("token")
	if token == "" {
		var err error
		if token, err = d.tokenByPIN(v); err != nil {
			return err
		}
	}
	secret, err := d.sessions.begin(v.ctx, token)
	if err != nil {
		return err
	}
	d.setCookie(v.w, secret)
	return v.goTo("/")
}

func (d *Desk) tokenByPIN(v *visit) (string, error) {
	if d.People == nil {
		return "", fault.New(fault.Invalid, "TOKEN_MISSING", "a token is needed to sign in; paste the one you were given")
	}
	site, name := v.form("site"), v.form("person")
	tries, err := d.Store.Drawer("tries").Count(v.ctx, hashed(site+"\x00"+name), triesLife)
	if err != nil {
		return "", err
	}
	if tries > triesAllowed {
		return "", fault.New(fault.Exhausted, "PIN_TRIES", "too many tries for this name; wait five minutes or use a token")
	}
	token, err := d.People.token(site, name, v.form("pin"), d.Now())
	if err == nil {
		err = d.Store.Drawer("tries").Drop(v.ctx, hashed(site+"\x00"+name))
	}
	return token, err
}

func (d *Desk) signOut(v *visit) error {
	if err := d.sessions.end(v.r); err != nil {
		return err
	}
	d.setCookie(v.w, "")
	return v.goTo("/signin")
}

// home leads each person to the page made for them.
func (d *Desk) home(v *visit) error {
	for _, h := range homes {
		if v.who.Has(h.role) {
			return v.goTo(h.path)
		}
	}
	return v.goTo("/work")
}

// homes in the order of precedence. The owner, who may act in every role, comes first.
var homes = []struct {
	role identity.Role
	path string
}{
	{identity.Owner, "/figures"},
	{identity.Dispatcher, "/bays"},
	{identity.PartsClerk, "/shelf"},
	{identity.Technician, "/work"},
}

// policy is what a page may do, with styles from the sources named.
func policy(styles string) string {
	return "default-src 'none'; script-src 'self'; style-src " + styles + "; img-src 'self' data:; connect-src 'self'; " +
		"manifest-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
}

// secured sets what every answer carries.
func secured(next http.Handler) http.Handler {
	strict := policy("'self'")
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", strict)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		next.ServeHTTP(w, r)
	})
}
