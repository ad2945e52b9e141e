package jetstream_test

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/jwt/v2"
	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nkeys"

	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/jetstream"
)

// operator makes accounts and users whose rights are in their tokens.
type operator struct {
	account nkeys.KeyPair
	url     string
	dir     string
}

func seal(t *testing.T, claims jwt.Claims, by nkeys.KeyPair) string {
	t.Helper()
	token, err := claims.Encode(by)
	if err != nil {
		t.Fatal(err)
	}
	return token
}

// newKey makes a key, and gives its public half too.
func newKey(t *testing.T, kind nkeys.PrefixByte) (key nkeys.KeyPair, public string) {
	t.Helper()
	key, err := nkeys.CreatePair(kind)
	if err != nil {
		t.Fatal(err)
	}
	if public, err = key.PublicKey(); err != nil {
		t.Fatal(err)
	}
	return key, public
}

// listenAsOperator runs a server that trusts one operator and knows one account.
func listenAsOperator(t *testing.T) *operator {
	t.Helper()
	root, rootPublic := newKey(t, nkeys.PrefixByteOperator)
	account, public := newKey(t, nkeys.PrefixByteAccount)
	system, systemPublic := newKey(t, nkeys.PrefixByteAccount)
	defer system.Wipe()

	claims := jwt.NewAccountClaims(public)
	claims.Limits.JetStreamLimits = jwt.JetStreamLimits{
		DiskStorage: jwt.NoLimit, MemoryStorage: jwt.NoLimit, Streams: jwt.NoLimit, Consumer: jwt.NoLimit,
	}
	resolver := &server.MemAccResolver{}
	for name, token := range map[string]string{
		public:       seal(t, claims, root),
		systemPublic: seal(t, jwt.NewAccountClaims(systemPublic), root),
	} {
		if err := resolver.Store(name, token); err != nil {
			t.Fatal(err)
		}
	}
	trusted := jwt.NewOperatorClaims(rootPublic)
	seal(t, trusted, root) // signs it in place
	s := listen(t, &server.Options{
		JetStream: true, StoreDir: t.TempDir(), TrustedOperators: []*jwt.OperatorClaims{trusted},
		SystemAccount: systemPublic, AccountResolver: resolver,
	})
	if !s.ReadyForConnections(serverPatience) {
		t.Fatal("the server is not ready")
	}
	return &operator{account: account, url: s.ClientURL(), dir: t.TempDir()}
}

// user writes the .creds file of a user with permissions.
func (o *operator) user(t *testing.T, name string, p jwt.Permissions) (file string) {
	t.Helper()
	key, public := newKey(t, nkeys.PrefixByteUser)
	claims := jwt.NewUserClaims(public)
	claims.Name, claims.Permissions = name, p
	seed, err := key.Seed()
	if err != nil {
		t.Fatal(err)
	}
	content, err := jwt.FormatUserConfig(seal(t, claims, o.account), seed)
	if err != nil {
		t.Fatal(err)
	}
	file = filepath.Join(o.dir, name+".creds")
	if err := os.WriteFile(file, content, 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}

func everything() jwt.Permissions {
	return jwt.Permissions{Pub: jwt.Permission{Allow: []string{">"}}, Sub: jwt.Permission{Allow: []string{">"}}}
}

func TestCredentials(t *testing.T) {
	ours, theirs := listenAsOperator(t), listenAsOperator(t)
	works(t, dial(t, jetstream.Options{URL: ours.url, Credentials: ours.user(t, "good", everything())}))
	nonsense := filepath.Join(t.TempDir(), "nonsense")
	if err := os.WriteFile(nonsense, []byte("nothing of use"), 0o600); err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct{ file, want string }{
		"none":                {"", "--nats-creds"},
		"of another operator": {theirs.user(t, "foreign", everything()), "--nats-creds"},
		"absent":              {nonsense + "-absent", "no such file"},
		"nonsense":            {nonsense, "neither NATS credentials nor an NKey seed"},
	} {
		t.Run(name, func(t *testing.T) {
			if err := refused(t, jetstream.Options{URL: ours.url, Credentials: c.file}); !strings.Contains(err.Error(), c.want) {
				t.Errorf("the refusal does not say %q: %v", c.want, err)
			}
		})
	}
}

// Each denial says at once which subject it was and what to do: the bound of a
// request is set far beyond the test's own.
func TestDenialsEndTheRequest(t *testing.T) {
	o := listenAsOperator(t)
	works(t, dial(t, jetstream.Options{URL: o.url, Credentials: o.user(t, "founder", everything())}))
	fill := dial(t, jetstream.Options{URL: o.url, Credentials: o.user(t, "filler", everything())})
	last, err := fill.Last(t.Context(), subject)
	if err != nil {
		t.Fatal(err)
	}
	const name = "RAMPROW_TORQUE_AUDIT"
	ignore := func(sitelog.Record) error { return nil }
	for what, c := range map[string]struct {
		denied string // what the user may not publish
		do     func(*jetstream.Log) error
	}{
		"append": {fill.Subject(subject), func(l *jetstream.Log) error {
			_, err := l.Append(t.Context(), subject, last.Sequence, sitelog.Message{Data: []byte("two")})
			return err
		}},
		"create": {"$JS.API.STREAM.CREATE.>", func(l *jetstream.Log) error {
			_, err := l.Append(t.Context(), sitelog.Subject{Service: "job", Site: "x"}, 0, sitelog.Message{Data: []byte("one")})
			return err
		}},
		"last": {"$JS.API.DIRECT.GET." + name + ".>", func(l *jetstream.Log) error {
			_, err := l.Last(t.Context(), subject)
			return err
		}},
		"read":        {"$JS.API.DIRECT.GET." + name, func(l *jetstream.Log) error { return l.Read(t.Context(), subject, 0, ignore) }},
		"follow":      {"$JS.API.CONSUMER.CREATE." + name + ".>", func(l *jetstream.Log) error { return l.Follow(t.Context(), subject, 0, ignore) }},
		"follow next": {"$JS.API.CONSUMER.MSG.NEXT.>", func(l *jetstream.Log) error { return l.Follow(t.Context(), subject, 0, ignore) }},
		"sites": {"$JS.API.CONSUMER.CREATE.>", func(l *jetstream.Log) error {
			return l.Sites(t.Context(), subject.Service, func(string) error { return nil })
		}},
		"known sites": {"$JS.API.STREAM.INFO.>", func(l *jetstream.Log) error {
			_, err := l.KnownSites(t.Context(), subject.Service)
			return err
		}},
		"ready": {"$JS.API.INFO", func(l *jetstream.Log) error { return l.Ready(t.Context()) }},
	} {
		t.Run(what, func(t *testing.T) {
			p := everything()
			p.Pub.Deny.Add(c.denied)
			log := dial(t, jetstream.Options{
				URL: o.url, Credentials: o.user(t, strings.ReplaceAll(what, " ", "-"), p), Timeout: time.Hour,
			})
			expectDenial(t, c.do(log))
		})
	}
	t.Run("answers", func(t *testing.T) {
		p := everything()
		p.Sub.Deny.Add("_INBOX.>")
		log := dial(t, jetstream.Options{URL: o.url, Credentials: o.user(t, "deaf", p), Timeout: time.Hour})
		_, err := log.Last(t.Context(), subject)
		expectDenial(t, err)
	})
}

func expectDenial(t *testing.T, err error) {
	t.Helper()
	if _, ok := errors.AsType[*jetstream.DeniedError](err); !ok || errors.Is(err, sitelog.ErrConflict) {
		t.Fatalf("gives %v", err)
	}
	for _, word := range []string{"PERMISSIONS.md", "--nats-creds"} {
		if !strings.Contains(err.Error(), word) {
			t.Errorf("the error does not name %s: %v", word, err)
		}
	}
}
