package jetstream_test

import (
	"errors"
	"fmt"
	"net"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	natsjs "github.com/nats-io/nats.go/jetstream"

	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/jetstream"
	"ramprow/internal/platform/sitelog/sitelogtest"
)

const clusterSize = 3

// cluster is three servers that keep each log three times.
type cluster struct {
	servers []*server.Server
	admin   natsjs.JetStream
}

func startCluster(t *testing.T) *cluster {
	t.Helper()
	if testing.Short() {
		t.Skip("three servers take a while")
	}
	c := &cluster{}
	routes := freeRoutes(t)
	for i := range clusterSize {
		port, err := strconv.Atoi(routes[i].Port())
		if err != nil {
			t.Fatal(err)
		}
		c.servers = append(c.servers, listen(t, &server.Options{
			ServerName: fmt.Sprintf("nats-%d", i+1), JetStream: true, StoreDir: t.TempDir(), SyncAlways: true,
			Cluster: server.ClusterOpts{Name: "ramprow", Host: routes[i].Hostname(), Port: port},
			Routes:  routes,
		}))
	}
	for i, s := range c.servers {
		if !s.ReadyForConnections(serverPatience) {
			t.Fatalf("server %d is not ready", i+1)
		}
	}
	c.admin = admin(t, c.servers[0].ClientURL())
	until(t, "the cluster has a leader that knows all", func() bool {
		leads := slices.ContainsFunc(c.servers, func(s *server.Server) bool {
			return s.JetStreamIsLeader() && len(s.JetStreamClusterPeers()) == clusterSize
		})
		_, err := c.admin.AccountInfo(t.Context())
		return leads && err == nil
	})
	return c
}

// freeRoutes gives addresses that nobody listens on: a server must know the
// others' before any of them runs.
func freeRoutes(t *testing.T) (routes []*url.URL) {
	t.Helper()
	for range clusterSize {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		defer func() { _ = l.Close() }()
		routes = append(routes, &url.URL{Scheme: "nats", Host: l.Addr().String()})
	}
	return routes
}

func admin(t *testing.T, address string) natsjs.JetStream {
	t.Helper()
	nc, err := nats.Connect(address, nats.MaxReconnects(-1), nats.ReconnectWait(50*time.Millisecond))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(nc.Close)
	js, err := natsjs.New(nc)
	if err != nil {
		t.Fatal(err)
	}
	return js
}

// until waits for a condition.
func until(t *testing.T, what string, met func() bool) {
	t.Helper()
	tick, end := time.NewTicker(10*time.Millisecond), time.NewTimer(2*serverPatience)
	defer tick.Stop()
	defer end.Stop()
	for !met() {
		select {
		case <-tick.C:
		case <-end.C:
			t.Fatalf("not in time: %s", what)
		}
	}
}

// connect connects to the servers in order, beginning with one of them.
func (c *cluster) connect(t *testing.T, first int) *jetstream.Log {
	t.Helper()
	var urls []string
	for i := range clusterSize {
		urls = append(urls, c.servers[(first+i)%clusterSize].ClientURL())
	}
	return dial(t, jetstream.Options{URL: strings.Join(urls, ","), Replicas: clusterSize, Name: t.Name()})
}

// empty removes all logs.
func (c *cluster) empty(t *testing.T) {
	t.Helper()
	names := c.admin.StreamNames(t.Context())
	for name := range names.Name() {
		if err := c.admin.DeleteStream(t.Context(), name); err != nil {
			t.Fatal(err)
		}
	}
	if err := names.Err(); err != nil {
		t.Fatal(err)
	}
}

// leader gives the server that leads a service's log; nil during an election.
func (c *cluster) leader(service string) *server.Server {
	for _, s := range c.servers {
		if s.Running() && s.JetStreamIsStreamLeader(server.DEFAULT_GLOBAL_ACCOUNT, jetstream.StreamName(service)) {
			return s
		}
	}
	return nil
}

func TestCluster(t *testing.T) {
	c := startCluster(t)
	turn := 0
	open := func(t *testing.T) *jetstream.Log {
		c.empty(t)
		turn++
		return c.connect(t, turn%clusterSize)
	}
	sitelogtest.Run(t, func(t *testing.T) sitelog.Log { return open(t) })
	t.Run("snapshots", func(t *testing.T) {
		sitelogtest.RunSnapshots(t, func(t *testing.T) sitelog.SnapshotStore { return open(t).Snapshots() })
	})
	t.Run("a lost race has two codes", func(t *testing.T) { bothCodes(t, open(t)) })
	t.Run("commands outlive leaders", func(t *testing.T) {
		c.empty(t)
		c.commandsOutliveLeaders(t) // the last one: a server stays stopped
	})
}

// bothCodes shows that the servers refuse with one code while the winner is on
// its way (10164), and with another once it is stored (10071); both are conflicts.
func bothCodes(t *testing.T, log *jetstream.Log) {
	// A stream of three copies is there once its first leader is elected.
	until(t, "the stream to open", func() bool {
		_, err := log.Last(t.Context(), subject)
		return err == nil
	})
	var tail uint64
	seen := map[natsjs.ErrorCode]int{}
	note := func(err error) {
		api, ok := errors.AsType[*natsjs.APIError](err)
		if !ok || !errors.Is(err, sitelog.ErrConflict) {
			t.Errorf("the loser gets %v", err)
			return
		}
		seen[api.ErrorCode]++
	}
	for round := 0; seen[10164] == 0 && round < 50; round++ {
		results := make(chan error)
		var next atomic.Uint64
		const writers = 8
		for range writers {
			go func() {
				sequence, err := log.Append(t.Context(), subject, tail, sitelog.Message{Data: []byte("race")})
				next.Add(sequence)
				results <- err
			}()
		}
		for range writers {
			if err := <-results; err != nil {
				note(err)
			}
		}
		if _, err := log.Append(t.Context(), subject, tail, sitelog.Message{Data: []byte("late")}); err != nil {
			note(err)
		}
		tail = next.Load()
	}
	if len(seen) != 2 || seen[10071] == 0 || seen[10164] == 0 {
		t.Errorf("the codes were %v", seen)
	}
}
