package job

import (
	"bufio"
	"context"
	"crypto/ed25519"
	"encoding/hex"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"ramprow/internal/platform/embedded"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/rpc"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/jetstream"
	"ramprow/internal/platform/telemetry"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// The environment of the job service that this test runs as a process and kills.
const (
	childBroker  = "RAMPROW_TEST_JOB_BROKER"
	childAddress = "RAMPROW_TEST_JOB_ADDRESS"
	childKey     = "RAMPROW_TEST_JOB_KEY"
	// fullSize is how many invoices are closed by hand: 5000 as the issue asks.
	fullSize = "RAMPROW_TEST_INVOICES"
)

// TestChildServesJobs is the process that is killed; alone it does nothing.
func TestChildServesJobs(t *testing.T) {
	broker := os.Getenv(childBroker)
	if broker == "" {
		t.Skip("runs as a process of TestNumbersUnderKills")
	}
	key, err := hex.DecodeString(os.Getenv(childKey))
	must(t, err)
	log, err := jetstream.Connect(jetstream.Options{URL: broker})
	must(t, err)
	runner, err := sitelog.Open(t.Context(), log, Machine(), sitelog.Options{})
	must(t, err)
	verifier, err := identity.NewVerifier(identity.VerifierConfig{Keys: []ed25519.PublicKey{key}})
	must(t, err)
	server, err := rpc.NewServer(rpc.ServerConfig{Telemetry: silence(t), Verifier: verifier})
	must(t, err)
	NewServer(runner, nil, time.Now).Register(server)
	listener, err := (&net.ListenConfig{}).Listen(t.Context(), "tcp", os.Getenv(childAddress))
	must(t, err)
	fmt.Println("serving") //nolint:forbidigo // the parent waits for this line
	must(t, server.Serve(listener))
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func silence(t *testing.T) *telemetry.Telemetry {
	t.Helper()
	tel, err := telemetry.Start(t.Context(), telemetry.Config{Service: Service, Log: io.Discard, Getenv: func(string) string { return "" }})
	must(t, err)
	return tel
}

// TestNumbersUnderKills: 16 callers close many invoices at once while the job
// service is killed (SIGKILL) again and again. Afterwards separate code reads the
// log: numbers 1 to n, none missing, none twice, and each job met every
// condition when it was closed. RAMPROW_TEST_INVOICES=5000 is the full size.
func TestNumbersUnderKills(t *testing.T) {
	if testing.Short() {
		t.Skip("runs processes")
	}
	invoices, kills := 160, 5
	if n, err := strconv.Atoi(os.Getenv(fullSize)); err == nil {
		invoices, kills = n, 20
	}
	w := newMorgue(t)
	w.seed(invoices)
	w.start()
	closings := make(chan int)
	go func() {
		defer close(closings)
		for n := range invoices {
			closings <- n + 1
		}
	}()
	var callers sync.WaitGroup
	for range 16 {
		callers.Go(func() {
			for n := range closings {
				w.close(n)
			}
		})
	}
	w.killAt(invoices, kills)
	callers.Wait()
	w.inspect(invoices)
	t.Logf("%d invoices closed, the service killed %d times", invoices, w.killed)
}

// morgue is a broker in this process, the service in another, and the callers' connection.
type morgue struct {
	t       *testing.T
	log     *jetstream.Log
	env     []string
	child   *exec.Cmd
	client  jobv1.JobServiceClient
	closed  atomic.Int64
	changed chan struct{} // something was closed since it was last emptied
	killed  int
}

func newMorgue(t *testing.T) *morgue {
	t.Helper()
	broker, err := embedded.StartNATS(t.TempDir(), embedded.NATSOptions{Listen: "127.0.0.1:0"})
	must(t, err)
	t.Cleanup(func() { embedded.StopNATS(broker) })
	w := &morgue{t: t, changed: make(chan struct{}, 1)}
	w.log, err = jetstream.Connect(jetstream.Options{URL: broker.ClientURL()})
	must(t, err)
	t.Cleanup(w.log.Close)
	listener, err := (&net.ListenConfig{}).Listen(t.Context(), "tcp", "127.0.0.1:0")
	must(t, err)
	address := listener.Addr().String()
	must(t, listener.Close())
	key, err := identity.NewKey()
	must(t, err)
	w.env = append(os.Environ(), childBroker+"="+broker.ClientURL(), childAddress+"="+address, childKey+"="+hex.EncodeToString(key.Public()))
	who := identity.Identity{Site: "north", Person: "ada", Roles: []identity.Role{identity.Owner}}
	token, err := identity.NewSigner(identity.SignerConfig{Key: key}).Issue(who, time.Hour, time.Now())
	must(t, err)
	conn, err := rpc.Dial(rpc.ClientConfig{Telemetry: silence(t), Target: address, Token: func(context.Context) (string, error) { return token, nil }})
	must(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	w.client = jobv1.NewJobServiceClient(conn)
	return w
}

// seed writes jobs whose work is done and proved, each a copy of one that went the whole way.
func (w *morgue) seed(jobs int) {
	w.t.Helper()
	template := proved(w.t, "coil-4")
	runner, err := sitelog.Open(w.t.Context(), w.log, Machine(), sitelog.Options{Now: func() time.Time { return monday }})
	must(w.t, err)
	defer runner.Close()
	var common, own []proto.Message
	for _, e := range template.log {
		if _, ok := e.Message.(ofJob); ok {
			own = append(own, e.Message)
		} else {
			common = append(common, e.Message)
		}
	}
	write := func(id string, events []proto.Message) {
		_, err := runner.Do(w.t.Context(), "north", sitelog.Command[*State]{
			Method: "/test/Seed", RequestID: id, Request: &jobv1.Job{Name: id},
			Decide: func(*State, sitelog.Input) (sitelog.Decision, error) {
				return sitelog.Decision{Events: events, Response: &jobv1.Job{Name: id}}, nil
			},
		})
		must(w.t, err)
	}
	write("seed-common", common)
	for n := range jobs {
		events := make([]proto.Message, len(own))
		for i, m := range own {
			events[i] = proto.Clone(m)
			r := events[i].ProtoReflect()
			r.Set(r.Descriptor().Fields().ByName("job"), protoreflect.ValueOfString(jobName(uint64(n)+1)))
		}
		write(fmt.Sprintf("seed-%06d", n+1), events)
	}
}

// start runs the service and waits until it serves.
func (w *morgue) start() {
	w.t.Helper()
	w.child = exec.CommandContext(w.t.Context(), os.Args[0], "-test.run=^TestChildServesJobs$", "-test.timeout=30m")
	w.child.Env, w.child.Stderr = w.env, os.Stderr
	out, err := w.child.StdoutPipe()
	must(w.t, err)
	must(w.t, w.child.Start())
	for lines := bufio.NewScanner(out); lines.Scan(); {
		if lines.Text() == "serving" {
			return
		}
	}
	w.t.Fatal("the service did not come up")
}

// close closes one job, however often the service dies meanwhile, and then tries to close it twice.
func (w *morgue) close(n int) {
	ask := func(id string) error {
		_, err := w.client.CloseInvoice(w.t.Context(), &jobv1.CloseInvoiceRequest{RequestId: id, Job: jobName(uint64(n))}, grpc.WaitForReady(true))
		return err
	}
	for {
		err := ask(fmt.Sprintf("close-%06d", n))
		if err == nil {
			break
		}
		if kind := fault.KindOf(err); kind != fault.Unavailable && kind != fault.Conflict {
			w.t.Errorf("jobs/%d: %v", n, err)
			break
		}
	}
	w.closed.Add(1)
	select {
	case w.changed <- struct{}{}:
	default:
	}
	if err := ask(fmt.Sprintf("again-%06d", n)); err == nil {
		w.t.Errorf("jobs/%d was closed twice", n)
	}
}

// killAt kills the service each time another share of the jobs is closed.
func (w *morgue) killAt(invoices, kills int) {
	w.t.Helper()
	for k := range kills {
		for w.closed.Load() < int64((k+1)*invoices/(kills+2)) {
			select {
			case <-w.changed:
			case <-w.t.Context().Done():
				return
			}
		}
		must(w.t, w.child.Process.Kill())
		_ = w.child.Wait() // ends as killed
		w.killed++
		w.start()
	}
	w.t.Cleanup(func() {
		_ = w.child.Process.Kill()
		_ = w.child.Wait()
	})
}

// inspect reads the log with code that knows nothing of the service's state.
func (w *morgue) inspect(invoices int) {
	w.t.Helper()
	type tape struct{ events []sitelog.Event }
	runner, err := sitelog.Open(w.t.Context(), w.log, sitelog.Machine[*tape]{
		Service: Service, New: func(string) *tape { return &tape{} },
		Evolve: func(s *tape, e sitelog.Event) { s.events = append(s.events, e) },
	}, sitelog.Options{})
	must(w.t, err)
	defer runner.Close()
	var events []sitelog.Event
	_, err = runner.View(w.t.Context(), "north", func(s *tape) error {
		events = s.events
		return nil
	})
	must(w.t, err)
	if wrong := audit(events); wrong != "" {
		w.t.Error(wrong)
	}
	numbers, jobs := map[string]bool{}, map[string]bool{}
	for _, e := range events {
		if c, ok := e.Message.(*jobv1.InvoiceClosed); ok {
			numbers[c.GetInvoice().GetNumber()], jobs[c.GetJob()] = true, true
			if want := fmt.Sprintf("%s-%06d", c.GetSeries(), len(numbers)); c.GetInvoice().GetNumber() != want {
				w.t.Errorf("%s got the number %s, want %s", c.GetJob(), c.GetInvoice().GetNumber(), want)
			}
		}
	}
	if len(numbers) != invoices || len(jobs) != invoices {
		w.t.Errorf("%d numbers for %d jobs, want %d", len(numbers), len(jobs), invoices)
	}
}
