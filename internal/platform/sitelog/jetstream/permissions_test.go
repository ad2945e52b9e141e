package jetstream_test

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/jwt/v2"
	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nkeys"

	"ramprow/internal/platform/lease"
	"ramprow/internal/platform/personal"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/jetstream"
)

// deployed is the file of users that goes out with the program.
const deployed = "../../../../deploy/nats/users.conf"

// follows is whose logs each service follows, as the services' machines say.
var follows = map[string][]string{
	"job":          {"inventory", "scheduling", "torque-audit"},
	"scheduling":   {"job", "inventory"},
	"inventory":    {"job", "scheduling"},
	"torque-audit": {"job"},
}

// deployedUsers makes a key for each user of the deployed file, and gives the
// server's reading of it and the seed files by user.
func deployedUsers(t *testing.T) (options *server.Options, seeds, public map[string]string) {
	t.Helper()
	seeds, public = map[string]string{}, map[string]string{}
	dir := t.TempDir()
	for _, name := range []string{"job", "scheduling", "inventory", "torque-audit", "reader"} {
		key, open := newKey(t, nkeys.PrefixByteUser)
		seed, err := key.Seed()
		if err != nil {
			t.Fatal(err)
		}
		seeds[name], public[name] = filepath.Join(dir, name+".nk"), open
		if err := os.WriteFile(seeds[name], append(seed, '\n'), 0o600); err != nil {
			t.Fatal(err)
		}
		t.Setenv("RAMPROW_NKEY_"+strings.ToUpper(strings.ReplaceAll(name, "-", "_")), open)
	}
	options, err := server.ProcessConfigFile(deployed)
	if err != nil {
		t.Fatal(err)
	}
	options.JetStream, options.StoreDir = true, t.TempDir()
	return options, seeds, public
}

func listenDeployed(t *testing.T) (address string, seeds map[string]string) {
	t.Helper()
	options, seeds, _ := deployedUsers(t)
	s := listen(t, options)
	if !s.ReadyForConnections(serverPatience) {
		t.Fatal("the server is not ready")
	}
	return s.ClientURL(), seeds
}

// Each role of the deployed file may do all that it needs, by its NKey.
func TestDeployedUsersMayDoTheirWork(t *testing.T) {
	address, seeds := listenDeployed(t)
	logs := map[string]*jetstream.Log{}
	for service := range follows {
		logs[service] = dial(t, jetstream.Options{URL: address, Credentials: seeds[service], Timeout: time.Hour})
		fill(t, logs[service], service)
	}
	for service, others := range follows {
		for _, other := range append(slices.Clone(others), service) {
			readsAll(t, logs[service], other)
		}
		snapshotsWork(t, logs[service], service)
		leasesWork(t, logs[service], service)
	}
	keysWork(t, logs)
	reader := dial(t, jetstream.Options{URL: address, Credentials: seeds["reader"], Timeout: time.Hour})
	for service := range follows {
		readsAll(t, reader, service)
	}
}

// enough is more records than are read one by one, so that a consumer is used too.
const enough = 40

func fill(t *testing.T, log *jetstream.Log, service string) {
	t.Helper()
	var last uint64
	for range enough {
		var err error
		if last, err = log.Append(t.Context(), sitelog.Subject{Service: service, Site: "north"}, last, sitelog.Message{Data: []byte("x")}); err != nil {
			t.Fatalf("%s appends: %v", service, err)
		}
	}
}

func readsAll(t *testing.T, log *jetstream.Log, service string) {
	t.Helper()
	s := sitelog.Subject{Service: service, Site: "north"}
	if last, err := log.Last(t.Context(), s); err != nil || last.Sequence != enough {
		t.Errorf("the tail of %s is %d: %v", service, last.Sequence, err)
	}
	read := 0
	if err := log.Read(t.Context(), s, 0, func(sitelog.Record) error { read++; return nil }); err != nil || read != enough {
		t.Errorf("%d records of %s are read: %v", read, service, err)
	}
	followed := 0
	err := log.Follow(t.Context(), s, 0, func(sitelog.Record) error {
		if followed++; followed == enough {
			return os.ErrClosed
		}
		return nil
	})
	if err != os.ErrClosed { //nolint:errorlint // it comes back as it was given
		t.Errorf("following %s after %d records: %v", service, followed, err)
	}
	if err := log.Sites(t.Context(), service, func(string) error { return os.ErrClosed }); err != os.ErrClosed { //nolint:errorlint // as above
		t.Errorf("looking for the sites of %s: %v", service, err)
	}
	if sites, err := log.KnownSites(t.Context(), service); err != nil || !slices.Equal(sites, []string{"north"}) {
		t.Errorf("the sites of %s are %v: %v", service, sites, err)
	}
	if err := log.Ready(t.Context()); err != nil {
		t.Error(err)
	}
}

func snapshotsWork(t *testing.T, log *jetstream.Log, service string) {
	t.Helper()
	s, store, data := sitelog.Subject{Service: service, Site: "north"}, log.Snapshots(), bytes.Repeat([]byte("state"), 200_000)
	if got, err := store.Get(t.Context(), s, 1); err != nil || got != nil {
		t.Errorf("%s finds %d bytes before any are kept: %v", service, len(got), err)
	}
	for range 2 { // the second replaces the first, whose parts are purged
		if err := store.Put(t.Context(), s, 1, data); err != nil {
			t.Fatalf("%s keeps a snapshot: %v", service, err)
		}
	}
	if got, err := store.Get(t.Context(), s, 1); err != nil || !bytes.Equal(got, data) {
		t.Errorf("%s gets %d bytes back: %v", service, len(got), err)
	}
	if err := store.Delete(t.Context(), s, 1); err != nil {
		t.Errorf("%s deletes a snapshot: %v", service, err)
	}
}

func leasesWork(t *testing.T, log *jetstream.Log, service string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), serverPatience)
	defer cancel()
	key, store := service+".p04", log.Leases()
	revision, err := store.Put(ctx, key, []byte("mine"), 0)
	if err != nil {
		t.Fatalf("%s takes a lease: %v", service, err)
	}
	if e, err := store.Get(ctx, key); err != nil || e.Revision != revision {
		t.Errorf("%s reads its lease as %+v: %v", service, e, err)
	}
	if err := store.Watch(ctx, service, func(lease.Entry) error { return os.ErrClosed }); err != os.ErrClosed { //nolint:errorlint // it comes back as it was given
		t.Errorf("%s watches its leases: %v", service, err)
	}
}

// keysWork: the job service makes and destroys keys, and those who show names read them and hear of their end.
func keysWork(t *testing.T, logs map[string]*jetstream.Log) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), serverPatience)
	defer cancel()
	name := personal.Name{Site: "north", ID: "j1"}
	if err := logs["job"].Keys().Create(ctx, name, []byte("secret")); err != nil {
		t.Fatalf("job makes a key: %v", err)
	}
	ready, heard, ended := make(chan struct{}), make(chan personal.Name, 4), make(chan error, 2)
	watching, stop := context.WithCancel(ctx)
	readers := []string{"scheduling", "torque-audit"}
	for _, service := range readers {
		keys := logs[service].Keys()
		if got, err := keys.Get(ctx, name); err != nil || string(got) != "secret" {
			t.Errorf("%s reads %q: %v", service, got, err)
		}
		expectDenial(t, keys.Create(ctx, personal.Name{Site: "north", ID: "j2"}, []byte("x")))
		expectDenial(t, keys.Destroy(ctx, name))
		go func() {
			ended <- keys.Watch(watching, func() { ready <- struct{}{} }, func(n personal.Name) { heard <- n })
		}()
	}
	for range readers {
		<-ready
	}
	if err := logs["job"].Keys().Destroy(ctx, name); err != nil {
		t.Errorf("job destroys a key: %v", err)
	}
	for range readers {
		if got := <-heard; got != name {
			t.Errorf("%v is heard of", got)
		}
	}
	stop()
	for range readers {
		if err := <-ended; !errors.Is(err, context.Canceled) {
			t.Errorf("a watch ends with %v", err)
		}
	}
	_, err := logs["inventory"].Keys().Get(ctx, name)
	expectDenial(t, err)
}

// Nobody writes another's log, and the reader writes none.
func TestDeployedUsersMayDoNoMore(t *testing.T) {
	address, seeds := listenDeployed(t)
	for name, file := range seeds {
		log := dial(t, jetstream.Options{URL: address, Credentials: file, Timeout: time.Hour})
		for service := range follows {
			if service == name {
				fill(t, log, service)
				continue
			}
			_, err := log.Append(t.Context(), sitelog.Subject{Service: service, Site: "south"}, 0, sitelog.Message{Data: []byte("x")})
			expectDenial(t, err)
		}
	}
}

// The same permissions work in a token, and with streams made beforehand nobody
// needs to create one.
func TestStreamsMadeBeforehand(t *testing.T) {
	options, _, public := deployedUsers(t)
	i := slices.IndexFunc(options.Nkeys, func(u *server.NkeyUser) bool { return u.Nkey == public["torque-audit"] })
	o := listenAsOperator(t)
	var p jwt.Permissions
	for _, subject := range options.Nkeys[i].Permissions.Publish.Allow {
		if !strings.HasPrefix(subject, "$JS.API.STREAM.CREATE.") {
			p.Pub.Allow.Add(subject)
		}
	}
	p.Sub.Allow.Add(options.Nkeys[i].Permissions.Subscribe.Allow...)
	works(t, dial(t, jetstream.Options{URL: o.url, Credentials: o.user(t, "founder", everything())}))
	log := dial(t, jetstream.Options{URL: o.url, Credentials: o.user(t, "torque-audit", p), Timeout: time.Hour})
	last, err := log.Last(t.Context(), subject)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := log.Append(t.Context(), subject, last.Sequence, sitelog.Message{Data: []byte("two")}); err != nil {
		t.Error(err)
	}
}
