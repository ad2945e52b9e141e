package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"io"
	"strings"
	"testing"
	"time"

	"ramprow/services/terminal"
)

// program runs a command line as main does.
func program(t *testing.T, stdin string, args ...string) (out, notes string, err error) {
	t.Helper()
	var stdout, stderr bytes.Buffer
	root := rootCommand()
	root.SetIn(strings.NewReader(stdin))
	root.SetOut(&stdout)
	root.SetErr(&stderr)
	root.SetArgs(args)
	err = root.ExecuteContext(t.Context())
	return stdout.String(), stderr.String(), err
}

// house is a workshop that `ramprow up` runs on a folder.
type house struct {
	t        *testing.T
	dir      string
	greeting string
	stop     context.CancelFunc
	ended    chan error
}

// open runs `ramprow up` until close is called, and waits for its greeting.
func open(t *testing.T, dir string) *house {
	t.Helper()
	ctx, stop := context.WithCancel(context.WithoutCancel(t.Context()))
	h := &house{t: t, dir: dir, stop: stop, ended: make(chan error, 1)}
	reader, writer := io.Pipe()
	root := rootCommand()
	root.SetOut(writer)
	root.SetArgs([]string{"up", "--data", dir, "--free-ports"})
	go func() {
		h.ended <- root.ExecuteContext(ctx)
		_ = writer.Close()
	}()
	for lines := bufio.NewScanner(reader); lines.Scan(); {
		h.greeting += lines.Text() + "\n"
		if strings.HasPrefix(lines.Text(), "  owner ") { // the last of the tokens
			return h
		}
	}
	t.Fatalf("up ended: %v after\n%s", <-h.ended, h.greeting)
	return nil
}

func (h *house) close() {
	h.t.Helper()
	h.stop()
	if err := <-h.ended; err != nil {
		h.t.Errorf("up did not end cleanly: %v", err)
	}
}

// as runs a command in a role; it must succeed.
func (h *house) as(role string, args ...string) string {
	h.t.Helper()
	return h.typing("", role, args...)
}

func (h *house) typing(stdin, role string, args ...string) string {
	h.t.Helper()
	out, notes, err := h.try(stdin, role, args...)
	if err != nil {
		h.t.Fatalf("ramprow %s: %s\n%s%s", strings.Join(args, " "), explain(err), out, notes)
	}
	return out
}

func (h *house) try(stdin, role string, args ...string) (out, notes string, err error) {
	h.t.Helper()
	return program(h.t, stdin, append(args, "--data", h.dir, "--as", role)...)
}

// told runs a command in a role and reads its JSON.
func (h *house) told(role string, into any, args ...string) {
	h.t.Helper()
	out := h.as(role, append(args, "--output", "json")...)
	if err := json.Unmarshal([]byte(out), into); err != nil {
		h.t.Fatalf("ramprow %s: %v in %s", strings.Join(args, " "), err, out)
	}
}

// receipt runs a command and gives the revision to read at.
func (h *house) receipt(role string, args ...string) string {
	h.t.Helper()
	var answer struct {
		Receipt struct{ Revision string }
	}
	h.told(role, &answer, args...)
	return answer.Receipt.Revision
}

// await asks until it is so: what other services decide arrives by event.
func (h *house) await(what string, so func() bool) {
	h.t.Helper()
	deadline := time.NewTimer(30 * time.Second)
	defer deadline.Stop()
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for !so() {
		select {
		case <-deadline.C:
			h.t.Fatalf("waited too long for %s", what)
		case <-tick.C:
		}
	}
}

// quietEnvironment takes away what the machine's environment says.
func quietEnvironment(t *testing.T) {
	t.Helper()
	for _, v := range []string{terminal.TokenVariable, terminal.RoleVariable, terminal.DataVariable, terminal.CAVariable, terminal.CertVariable, terminal.KeyVariable, "NATS_URL", "REDIS_URL"} {
		t.Setenv(v, "")
	}
	for _, role := range append(terminal.RoleNames(), terminal.RoleTraces) {
		t.Setenv(terminal.AddressVariable(role), "")
	}
}
