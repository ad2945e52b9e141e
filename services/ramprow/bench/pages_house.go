package bench

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/rpc"
	"ramprow/internal/platform/telemetry"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
	"ramprow/services/ramprow/stack"
	"ramprow/services/terminal"
)

// house is a whole workshop with a living day, in a process of its own.
type house struct {
	process   *exec.Cmd
	ended     chan error
	notes     *os.File
	url       string // of the pages
	signer    *identity.Signer
	telemetry *telemetry.Telemetry
	clients   *terminal.Clients
	site      string
}

const (
	houseSite     = "bench"
	openHouseTime = time.Minute
	dayTokenLife  = 366 * 24 * time.Hour
	probePace     = 400 * time.Millisecond
)

func openHouse(ctx context.Context, c PagesConfig, dir string) (_ *house, err error) {
	h := &house{ended: make(chan error, 1), site: houseSite}
	defer func() {
		if err != nil {
			err = errors.Join(err, h.close())
		}
	}()
	quiet := func(string) string { return "" }
	if h.telemetry, err = telemetry.Start(ctx, telemetry.Config{Service: "ramprow-bench", Log: io.Discard, LogLevel: slog.LevelError, Getenv: quiet}); err != nil {
		return nil, err
	}
	data := filepath.Join(dir, "day")
	if h.notes, err = os.Create(filepath.Join(dir, "notes")); err != nil { //nolint:gosec // a folder of our own
		return nil, fmt.Errorf("keep the workshop's notes: %w", err)
	}
	h.process = exec.Command(c.Program, "up", "--data", data, "--site", houseSite, "--free-ports", "--demo-day", //nolint:gosec // this program itself, or what a test puts in its place
		"--speed", strconv.FormatFloat(c.Speed, 'g', -1, 64))
	h.process.Stdout, h.process.Stderr = io.Discard, h.notes
	h.process.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	if err := h.process.Start(); err != nil {
		h.process = nil
		return nil, fmt.Errorf("start a workshop: %w", err)
	}
	go func() { h.ended <- h.process.Wait() }()
	if err := h.meet(ctx, data); err != nil {
		return nil, err
	}
	return h, nil
}

// meet waits until the workshop has left its addresses, and connects.
func (h *house) meet(ctx context.Context, data string) error {
	ctx, cancel := context.WithTimeout(ctx, openHouseTime)
	defer cancel()
	addresses := map[string]string{}
	for _, role := range append(terminal.RoleNames(), stack.RoleDesk) {
		address, err := h.await(ctx, terminal.AddressFile(data, role))
		if err != nil {
			return err
		}
		addresses[role] = address
	}
	h.url = "http://" + addresses[stack.RoleDesk]
	key, err := identity.LoadKey(stack.KeyFile(data))
	if err != nil {
		return err
	}
	h.signer = identity.NewSigner(identity.SignerConfig{Key: key})
	h.clients, err = terminal.Dial(terminal.DialConfig{Addresses: addresses, Telemetry: h.telemetry})
	return err
}

func (h *house) await(ctx context.Context, file string) (string, error) {
	for {
		if text, err := os.ReadFile(file); err == nil { //nolint:gosec // in a folder of our own
			return strings.TrimSpace(string(text)), nil
		}
		select {
		case err := <-h.ended:
			h.ended <- err
			notes, _ := os.ReadFile(h.notes.Name()) // they say why
			return "", fmt.Errorf("the workshop ended at once (%w): %s", errors.Join(errEnded, err), notes)
		default:
		}
		if err := rest(ctx, 20*time.Millisecond); err != nil {
			return "", fmt.Errorf("wait for the workshop: %w", err)
		}
	}
}

// token lets somebody act in a role, whatever time it is in the invented day.
func (h *house) token(person string, role identity.Role) (string, error) {
	return h.signer.Issue(identity.Identity{Site: h.site, Person: person, Roles: []identity.Role{role}}, dayTokenLife, time.Now().AddDate(0, 0, -1))
}

func (h *house) as(ctx context.Context, person string, role identity.Role) (context.Context, error) {
	token, err := h.token(person, role)
	return rpc.WithToken(ctx, token), err
}

// measured gives the workshop's load over some time.
func (h *house) measured(ctx context.Context, length time.Duration) (Load, error) {
	before, err := processorTime(h.process.Process.Pid)
	if err != nil {
		return Load{}, err
	}
	began := time.Now()
	if err := rest(ctx, length); err != nil {
		return Load{}, err
	}
	after, err := processorTime(h.process.Process.Pid)
	if err != nil {
		return Load{}, err
	}
	load := Load{Processors: (after - before).Seconds() / time.Since(began).Seconds()}
	load.ResidentMB, load.PeakMB, err = resident(h.process.Process.Pid)
	return load, err
}

// processorTime is what a process has used of all processors, by proc(5).
func processorTime(pid int) (time.Duration, error) {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		return 0, fmt.Errorf("ask the system for a process's time: %w", err)
	}
	// The name in brackets may hold anything; what follows are fields 3 and on.
	_, rest, _ := strings.Cut(string(text), ") ")
	fields := strings.Fields(rest)
	if len(fields) < 13 {
		return 0, fmt.Errorf("ask the system for a process's time: it answers %q", text)
	}
	var ticks int64
	for _, field := range fields[11:13] { // utime, stime
		n, err := strconv.ParseInt(field, 10, 64)
		if err != nil {
			return 0, fmt.Errorf("ask the system for a process's time: %w", err)
		}
		ticks += n
	}
	const tick = 10 * time.Millisecond // USER_HZ is 100 on every Linux that Go runs on
	return time.Duration(ticks) * tick, nil
}

// resident gives a process's memory now and at its most, in MB.
func resident(pid int) (now, most float64, err error) {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		return 0, 0, fmt.Errorf("ask the system for a process's memory: %w", err)
	}
	for line := range strings.Lines(string(text)) {
		name, value, _ := strings.Cut(line, ":")
		kB, _ := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(value), "kB")), 64) // other lines hold other things
		switch name {
		case "VmRSS":
			now = kB / 1024
		case "VmHWM":
			most = kB / 1024
		}
	}
	return now, most, nil
}

// probe is a command that pages have to show.
type probe struct {
	topics   []string // that it concerns
	revision uint64
	answered time.Time
}

// probe sends commands one after another, each to another service, until ctx ends.
func (h *house) probe(ctx context.Context, jobs []string) []probe {
	var sent []probe
	for i := 0; rest(ctx, probePace) == nil; i++ {
		var p probe
		var receipt *commonv1.Receipt
		var err error
		switch i % 3 {
		case 0:
			job := jobs[i/3%len(jobs)]
			p.topics = []string{"jobs", job}
			receipt, err = h.noteSymptom(ctx, job, i)
		case 1:
			p.topics = []string{"board"}
			receipt, err = h.blockBay(ctx, i)
		default:
			p.topics = []string{"parts"}
			receipt, err = h.receiveGoods(ctx)
		}
		if err != nil { // the job is over by now, or this is the end
			continue
		}
		p.revision, p.answered = receipt.GetRevision(), time.Now()
		sent = append(sent, p)
	}
	return sent
}

func (h *house) noteSymptom(ctx context.Context, job string, i int) (*commonv1.Receipt, error) {
	as, err := h.as(ctx, "tomas", identity.Technician)
	if err != nil {
		return nil, err
	}
	j, err := h.clients.Job.GetJob(as, &jobv1.GetJobRequest{Job: job})
	if err != nil {
		return nil, err
	}
	c, err := h.clients.Job.GetCatalogue(as, &jobv1.GetCatalogueRequest{Catalogue: j.GetJob().GetVehicle().GetCatalogue()})
	if err != nil {
		return nil, err
	}
	symptoms := c.GetCatalogue().GetSymptoms()
	r, err := h.clients.Job.NoteSymptom(as, &jobv1.NoteSymptomRequest{
		RequestId: rand.Text(), Job: job, Symptom: symptoms[i%len(symptoms)].GetId(), Present: i%2 == 0,
	})
	return r.GetReceipt(), err
}

// blockBay takes a bay out of use on some day that nobody plans yet.
func (h *house) blockBay(ctx context.Context, i int) (*commonv1.Receipt, error) {
	as, err := h.as(ctx, "dario", identity.Dispatcher)
	if err != nil {
		return nil, err
	}
	from := time.Now().AddDate(1, 0, i)
	r, err := h.clients.Scheduling.BlockResource(as, &schedulingv1.BlockResourceRequest{
		RequestId: rand.Text(), Resource: "bays/6", Reason: "probe",
		When: &commonv1.Interval{Start: timestamppb.New(from), End: timestamppb.New(from.Add(time.Hour))},
	})
	return r.GetReceipt(), err
}

func (h *house) receiveGoods(ctx context.Context) (*commonv1.Receipt, error) {
	as, err := h.as(ctx, "clara", identity.PartsClerk)
	if err != nil {
		return nil, err
	}
	parts, err := h.clients.Inventory.ListParts(as, &inventoryv1.ListPartsRequest{PageSize: 1})
	if err != nil || len(parts.GetParts()) == 0 {
		return nil, errors.Join(errNothingThere, err)
	}
	r, err := h.clients.Inventory.ReceiveGoods(as, &inventoryv1.ReceiveGoodsRequest{
		RequestId: rand.Text(), Note: "probe", Lines: []*inventoryv1.ReceivedLine{{Part: parts.GetParts()[0].GetNumber(), Quantity: 1}},
	})
	return r.GetReceipt(), err
}

var errNothingThere = errors.New("the workshop has no part or no job yet; give the day more time with --warm")

func (h *house) close() error {
	var failures []error
	if h.process != nil {
		_ = h.process.Process.Signal(os.Interrupt) // it may have ended already
		select {
		case err := <-h.ended:
			_ = err // it was told to end, whatever it was doing
		case <-time.After(patience):
			failures = append(failures, h.process.Process.Kill())
		}
	}
	if h.clients != nil {
		failures = append(failures, h.clients.Close())
	}
	if h.notes != nil {
		failures = append(failures, h.notes.Close())
	}
	if h.telemetry != nil {
		failures = append(failures, h.telemetry.Shutdown(context.Background()))
	}
	return errors.Join(failures...)
}
