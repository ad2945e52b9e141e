package e2e_test

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"slices"
	"sync"
	"testing"
	"time"

	"ramprow/internal/catalogue/demo"
	"ramprow/internal/platform/config"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/lifecycle"
	"ramprow/internal/platform/rpc"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/telemetry"
	jobv1 "ramprow/proto/ramprow/job/v1"
	"ramprow/services/ramprow/stack"
)

const (
	firstReplica  = "job"
	secondReplica = "job/2"
)

// counter is people at two replicas who open one job after another.
type counter struct {
	t        *testing.T
	replicas [2]jobv1.JobServiceClient
	token    string
	vehicle  *jobv1.Vehicle

	mu       sync.Mutex
	answered []string // the request_ids, once each
	last     time.Time
	gap      time.Duration // the longest time in which nobody was answered
	again    int           // how many calls had to be made again
	advanced chan struct{} // closed when one more has been answered
}

// openReplicas starts a second process of the job role, which finds the leases
// taken, and has it import a catalogue: that is a command for the other one.
func openReplicas(t *testing.T) (*town, *counter, *telemetry.Telemetry) {
	t.Helper()
	w := openTown(t)
	w.addresses[secondReplica] = freeAddress(t)
	w.start(secondReplica)
	tel, err := telemetry.Start(t.Context(), telemetry.Config{Service: "ramprow-e2e", Log: io.Discard, LogLevel: slog.LevelError, Getenv: func(string) string { return "" }})
	if err != nil {
		t.Fatal(err)
	}
	c := &counter{t: t, advanced: make(chan struct{})}
	if c.token, err = w.signer.Issue(identity.Identity{Site: site, Person: "ines", Roles: []identity.Role{identity.Owner}}, time.Hour, time.Now()); err != nil {
		t.Fatal(err)
	}
	for i, name := range []string{firstReplica, secondReplica} {
		conn, err := rpc.Dial(rpc.ClientConfig{Telemetry: tel, Target: w.addresses[name]})
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = conn.Close() })
		c.replicas[i] = jobv1.NewJobServiceClient(conn)
	}
	catalogues, err := demo.Catalogues()
	if err != nil {
		t.Fatal(err)
	}
	cars := catalogues[0].Message()
	if _, err := c.replicas[1].ImportCatalogue(rpc.WithToken(t.Context(), c.token), &jobv1.ImportCatalogueRequest{RequestId: "request-import", Catalogue: cars}); err != nil {
		t.Fatal(err)
	}
	c.vehicle = &jobv1.Vehicle{Vin: "YMR0RN16ZHA004711", Plate: "RP-OR 16", Catalogue: cars.GetId()}
	return w, c, tel
}

// work lets callers open jobs, each at both replicas in turn, until ctx ends. A
// call that was begun is brought to its end.
func (c *counter) work(ctx context.Context, callers int) *sync.WaitGroup {
	c.last = time.Now()
	var working sync.WaitGroup
	for caller := range callers {
		working.Go(func() {
			pace := time.NewTicker(20 * time.Millisecond)
			defer pace.Stop()
			for n := 0; ; n++ {
				select {
				case <-pace.C:
				case <-ctx.Done():
					return
				}
				if !c.open(fmt.Sprintf("request-%02d-%05d", caller, n), n) {
					return
				}
			}
		})
	}
	return &working
}

// open opens a job, and asks again by the same request_id for as long as nobody
// has refused or answered it.
func (c *counter) open(id string, n int) bool {
	request := &jobv1.OpenJobRequest{
		RequestId: id, Vehicle: c.vehicle, Complaint: id,
		Customer: &jobv1.Customer{Name: "Marta Quell", Contact: "by telephone", Address: "Mill Lane 3, Farrowby"},
	}
	for try := 0; c.t.Context().Err() == nil; try++ {
		ctx, cancel := context.WithTimeout(rpc.WithToken(c.t.Context(), c.token), 5*time.Second)
		_, err := c.replicas[(n+try)%2].OpenJob(ctx, request)
		cancel()
		if err != nil && slices.Contains([]fault.Kind{fault.Unavailable, fault.Deadline, fault.Conflict, fault.Canceled}, fault.KindOf(err)) {
			c.mu.Lock()
			c.again++
			c.mu.Unlock()
			continue
		}
		if err != nil {
			c.t.Errorf("%s: %v", id, err)
			return false
		}
		c.note(id)
		return true
	}
	return false
}

func (c *counter) note(id string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	now := time.Now()
	c.gap, c.last = max(c.gap, now.Sub(c.last)), now
	c.answered = append(c.answered, id)
	close(c.advanced)
	c.advanced = make(chan struct{})
}

// await waits until so many more have been answered, and gives the longest time
// without an answer since it was asked last.
func (c *counter) await(more int) time.Duration {
	c.t.Helper()
	patience := time.NewTimer(time.Minute)
	defer patience.Stop()
	c.mu.Lock()
	goal := len(c.answered) + more
	c.mu.Unlock()
	for {
		c.mu.Lock()
		count, advanced, gap := len(c.answered), c.advanced, c.gap
		if count >= goal {
			c.gap = 0
		}
		c.mu.Unlock()
		if count >= goal {
			return gap
		}
		select {
		case <-advanced:
		case <-patience.C:
			c.t.Fatalf("%d answers more were expected", goal-count)
		}
	}
}

// requests counts the request_ids in the log of a town's site.
func (w *town) requests(tel *telemetry.Telemetry, service string) map[string]int {
	w.t.Helper()
	closers := &lifecycle.Closers{}
	backend, err := stack.OutsideLog(config.Broker{URL: w.nats}, tel, closers)
	if err != nil {
		w.t.Fatal(err)
	}
	defer func() { _ = closers.Close(context.Background()) }()
	found := map[string]int{}
	if err := backend.Log.Read(w.t.Context(), sitelog.Subject{Service: service, Site: site}, 0, func(r sitelog.Record) error {
		commit, err := sitelog.DecodeCommit(r.Data)
		for _, entry := range commit.GetEntries() {
			if id := entry.GetCommand().GetRequestId(); id != "" {
				found[id]++
			}
		}
		return err
	}); err != nil {
		w.t.Fatal(err)
	}
	return found
}

// Two processes of one role: commands at either are answered; the one at work is
// killed, and both are restarted in turn, while people go on. Whoever asks again
// by the same request_id is answered, and everything is in the log once.
func TestReplicasReplaceEachOther(t *testing.T) {
	w, c, tel := openReplicas(t)
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	working := c.work(ctx, 8)
	t.Logf("longest time without an answer, undisturbed: %v", c.await(300))

	w.kill(firstReplica)
	t.Logf("the replica at work was killed: %v", c.await(300))
	w.start(firstReplica)
	t.Logf("it came back: %v", c.await(100))

	for _, name := range []string{secondReplica, firstReplica} {
		w.stop(name)
		gap := c.await(300)
		w.start(name)
		t.Logf("%s was restarted: %v", name, max(gap, c.await(300)))
	}
	stop()
	working.Wait()

	inLog := w.requests(tel, "job")
	for _, id := range c.answered {
		if inLog[id] != 1 {
			t.Errorf("%s was answered and is in the log %d times", id, inLog[id])
		}
	}
	if extra := len(inLog) - 1 - len(c.answered); extra != 0 { // the import is one more
		t.Errorf("%d requests are in the log that nobody was answered", extra)
	}
	t.Logf("%d commands were answered, %d calls were made again", len(c.answered), c.again)
}
