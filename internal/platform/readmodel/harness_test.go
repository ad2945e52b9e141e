package readmodel

import (
	"bufio"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/wrapperspb"

	"ramprow/internal/platform/embedded"
	"ramprow/internal/platform/sitelog"
)

// patience bounds every wait; it is never reached when all is well.
const patience = 30 * time.Second

// overServers runs a test over both servers that users may have.
func overServers(t *testing.T, test func(t *testing.T, url string)) {
	t.Helper()
	t.Run("embedded", func(t *testing.T) { test(t, startEmbedded(t)) })
	t.Run("redis-server", func(t *testing.T) { test(t, startServer(t).url()) })
}

func startEmbedded(t testing.TB) string {
	t.Helper()
	server, err := embedded.StartRedis()
	must(t, err)
	t.Cleanup(func() { must(t, server.Close()) })
	return server.URL()
}

// server is a redis-server process on a Unix socket.
type server struct {
	t       testing.TB
	folder  string
	options []string
	process *exec.Cmd
}

func startServer(t testing.TB, options ...string) *server {
	t.Helper()
	if _, err := exec.LookPath("redis-server"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("redis-server is not installed")
		}
		t.Skip("redis-server is not installed")
	}
	// Not t.TempDir: a socket's path may have no more than 107 bytes.
	folder, err := os.MkdirTemp("", "redis")
	must(t, err)
	s := &server{t: t, folder: folder, options: options}
	s.start()
	t.Cleanup(func() {
		s.kill()
		must(t, os.RemoveAll(folder))
	})
	return s
}

func (s *server) socket() string { return filepath.Join(s.folder, "socket") }
func (s *server) url() string    { return "unix://" + s.socket() }

// start returns once the server says that it accepts connections.
func (s *server) start() {
	s.t.Helper()
	arguments := append([]string{"--port", "0", "--unixsocket", s.socket(), "--dir", s.folder, "--save", ""}, s.options...)
	s.process = exec.Command("redis-server", arguments...)
	output, err := s.process.StdoutPipe()
	must(s.t, err)
	must(s.t, s.process.Start())
	lines := bufio.NewScanner(output)
	for lines.Scan() {
		if strings.Contains(lines.Text(), "eady to accept connections") {
			go func() {
				for lines.Scan() { // Keeps the pipe from filling up.
				}
			}()
			return
		}
	}
	s.t.Fatal("redis-server ended before it was ready")
}

func (s *server) kill() {
	_ = s.process.Process.Kill()
	_ = s.process.Wait()
}

// bench is one running projector and its views.
type bench struct {
	t         testing.TB
	log       sitelog.Log
	store     *Store
	projector *Projector[*notes]
	views     *Views[*notes]
	stop      func()
}

// start runs a projector. Its views fall back to the projector's own fold.
func start(t testing.TB, log sitelog.Log, url string, version int) *bench {
	t.Helper()
	return run(t, Config[*notes]{Projection: notesProjection(version), Log: log}, url)
}

func run(t testing.TB, c Config[*notes], url string) *bench {
	t.Helper()
	store, err := Connect(Options{URL: url})
	must(t, err)
	c.Store = store
	projector, err := NewProjector(c)
	must(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		_ = projector.Run(ctx) // It ends with ctx alone.
	}()
	stop := func() { cancel(); <-ended }
	t.Cleanup(func() { stop(); _ = store.Close() })
	return &bench{t: t, log: c.Log, store: store, projector: projector, views: NewViews(projector, projector), stop: stop}
}

// strict gives views without a fallback: what they answer stands in Redis.
func (b *bench) strict() *Views[*notes] { return NewViews[*notes](b.projector, nil) }

func (b *bench) get(v *Views[*notes], site, id string, minRevision uint64) (string, uint64, error) {
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	out := &wrapperspb.StringValue{}
	revision, err := v.Get(ctx, site, noteKey(id), minRevision, out)
	return out.GetValue(), revision, err
}

// until waits for a condition.
func until(t testing.TB, what string, condition func() bool) {
	t.Helper()
	deadline := time.NewTimer(patience)
	defer deadline.Stop()
	tick := time.NewTicker(2 * time.Millisecond)
	defer tick.Stop()
	for !condition() {
		select {
		case <-tick.C:
		case <-deadline.C:
			t.Fatalf("waited in vain: %s", what)
		}
	}
}

// settled waits until Redis holds a revision, and can be relied on.
func (b *bench) settled(site string, revision uint64) {
	b.t.Helper()
	s, err := b.projector.await(context.Background(), site)
	must(b.t, err)
	until(b.t, "Redis holds the newest revision", func() bool {
		s.nudge()
		found, err := b.store.position(context.Background(), s.keys)
		return err == nil && found.Claim == "" && found.Sequence >= revision && s.standing().serving
	})
}

// contents gives the site's rows and indexes in Redis, by key without prefix.
func (b *bench) contents(site string) map[string]string {
	b.t.Helper()
	ctx := context.Background()
	ks := newKeyspace(service, site, b.projector.Projection.Version)
	keys, err := b.store.client.Keys(ctx, ks.pattern()).Result()
	must(b.t, err)
	contents := map[string]string{}
	for _, key := range keys {
		name := strings.TrimPrefix(key, ks.prefix)
		switch {
		case name == "position":
		case strings.HasPrefix(name, "index:"):
			members, err := b.store.client.ZRange(ctx, key, 0, -1).Result()
			must(b.t, err)
			contents[name] = strings.Join(members, "|")
		default:
			value, err := b.store.client.Get(ctx, key).Result()
			must(b.t, err)
			contents[name] = value
		}
	}
	return contents
}

// expected gives what contents must give for the notes of an author.
func expected(t testing.TB, texts map[string]string) map[string]string {
	t.Helper()
	projection := notesProjection(1)
	state := &notes{texts: texts}
	contents := map[string]string{}
	index := map[string][]string{}
	for id := range texts {
		row, _ := projection.Row(state, noteKey(id))
		packed, _, err := packRow(noteKey(id), row)
		must(t, err)
		contents["row:note:"+id] = string(packed)
		for _, e := range row.Index {
			index[e.Name] = append(index[e.Name], e.Order+"\x00\x01"+id)
		}
	}
	for name, members := range index {
		slices.Sort(members)
		contents["index:note:"+name] = strings.Join(members, "|")
	}
	return contents
}
