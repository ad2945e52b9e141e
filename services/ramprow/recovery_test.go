package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/rpc"
	"ramprow/internal/platform/telemetry"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
	"ramprow/services/ramprow/stack"
	"ramprow/services/terminal"
)

// twoSites is a workshop program with the sites north and south.
type twoSites struct {
	t       *testing.T
	w       *stack.Workshop
	clients *terminal.Clients
	close   func()
	// newest revision of each site that was acknowledged.
	newest map[string]uint64
}

func openTwoSites(t *testing.T, dir string) *twoSites {
	t.Helper()
	tel, err := telemetry.Start(t.Context(), telemetry.Config{
		Service: "recovery", Log: io.Discard, LogLevel: slog.LevelError, Getenv: func(string) string { return "" },
	})
	if err != nil {
		t.Fatal(err)
	}
	w, err := stack.OpenWorkshop(t.Context(), stack.WorkshopConfig{Dir: dir, Telemetry: tel})
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.WithoutCancel(t.Context()))
	ended := make(chan error, 1)
	go func() { ended <- w.Run(ctx) }()
	clients, err := terminal.Dial(terminal.DialConfig{Addresses: w.Addresses(), Telemetry: tel})
	if err != nil {
		t.Fatal(err)
	}
	return &twoSites{t: t, w: w, clients: clients, newest: map[string]uint64{}, close: func() {
		_ = clients.Close()
		stop()
		if err := <-ended; err != nil {
			t.Errorf("the workshop did not end cleanly: %v", err)
		}
	}}
}

func (s *twoSites) as(site string) context.Context {
	s.t.Helper()
	token, err := s.w.Token(site, "ines", time.Hour, identity.Owner)
	if err != nil {
		s.t.Fatal(err)
	}
	return rpc.WithToken(s.t.Context(), token)
}

// setBay gives a bay of a site its title.
func (s *twoSites) setBay(site, bay string) error {
	r, err := s.clients.Scheduling.SetResource(s.as(site), &schedulingv1.SetResourceRequest{
		RequestId: site + "-set-" + bay,
		Resource: &schedulingv1.Resource{
			Name: "bays/" + bay, Kind: schedulingv1.ResourceKind_RESOURCE_KIND_BAY, Title: site + " " + bay, Type: "lift",
		},
	})
	s.newest[site] = max(s.newest[site], r.GetReceipt().GetRevision())
	return err
}

// bays gives what a site's resources are, encoded.
func (s *twoSites) bays(site string) string {
	s.t.Helper()
	list, err := s.clients.Scheduling.ListResources(s.as(site), &schedulingv1.ListResourcesRequest{MinRevision: s.newest[site]})
	if err != nil {
		s.t.Fatal(err)
	}
	encoded, err := proto.MarshalOptions{Deterministic: true}.Marshal(list)
	if err != nil {
		s.t.Fatal(err)
	}
	return string(encoded)
}

// spoil flips one bit behind a text in a folder's scheduling log.
func spoil(t *testing.T, dir, text string) {
	t.Helper()
	file := filepath.Join(messages(dir), "1.blk")
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	at := bytes.Index(data, []byte(text))
	if at < 0 {
		t.Fatalf("%q is not in the log", text)
	}
	data[at] ^= 1
	if err := os.WriteFile(file, data, 0o600); err != nil {
		t.Fatal(err)
	}
}

func messages(dir string) string {
	return filepath.Join(dir, "nats", "jetstream", "$G", "streams", "RAMPROW_SCHEDULING", "msgs")
}

func copyFolder(t *testing.T, from string) string {
	t.Helper()
	to := t.TempDir()
	if err := os.CopyFS(to, os.DirFS(from)); err != nil {
		t.Fatal(err)
	}
	// `cp -a` keeps the mode; CopyFS does not.
	if err := os.Chmod(stack.KeyFile(to), 0o600); err != nil {
		t.Fatal(err)
	}
	return to
}

// TestRecovery does what deploy/RECOVERY.md says: a copy of the stopped folder,
// damage of two kinds, the verdict, and the copy in its place.
func TestRecovery(t *testing.T) {
	quietEnvironment(t)
	healthy := t.TempDir()
	s := openTwoSites(t, healthy)
	for i := range 9 {
		for _, site := range []string{"north", "south"} {
			if err := s.setBay(site, fmt.Sprintf("bay-%d", i)); err != nil {
				t.Fatal(err)
			}
		}
	}
	north, south, newest := s.bays("north"), s.bays("south"), s.newest
	s.close()
	backup := copyFolder(t, healthy)

	t.Run("one bit of one site", func(t *testing.T) {
		dir := copyFolder(t, healthy)
		spoil(t, dir, "north bay-4")
		out, _, err := program(t, "", "verify", "--data", dir)
		if err == nil || !strings.Contains(err.Error(), "1 of 4 logs are damaged") {
			t.Errorf("verify says %v", err)
		}
		has(t, out, "scheduling    north               DAMAGED at sequence 11: it is commit 6 where 5 is due; good up to commit 4, sequence 7",
			"scheduling    south               whole: 9 commits with 9 events, up to sequence 18")
		// A start from the snapshot does not see what lies before it. Without the
		// snapshot the site stops, and the other goes on.
		if _, _, err := program(t, "", "verify", "scheduling", "--data", dir, "--forget-snapshots"); err == nil {
			t.Error("the damage is forgotten with the snapshots")
		}
		s := openTwoSites(t, dir)
		defer s.close()
		err = s.setBay("north", "bay-9")
		if err == nil || !strings.Contains(err.Error(), "scheduling of site north does not write: its log is damaged at sequence 11") {
			t.Errorf("north says %v", err)
		}
		if err := s.setBay("south", "bay-9"); err != nil {
			t.Errorf("south is held up: %v", err)
		}
	})

	t.Run("the server cuts the log off after a crash", func(t *testing.T) {
		dir := copyFolder(t, healthy)
		spoil(t, dir, "north bay-4")
		// Without its index the server reads its files, and keeps what comes before
		// the first record that it cannot read. What is left is a chain without a gap.
		if err := os.Remove(filepath.Join(messages(dir), "index.db")); err != nil {
			t.Fatal(err)
		}
		out, _, err := program(t, "", "verify", "--data", dir)
		if err == nil {
			t.Error("a log that lost its end passes for whole")
		}
		has(t, out, "scheduling    north               DAMAGED at sequence 17: commit 9 was on disk when the last snapshot was taken, and the log ends before it",
			"scheduling    south               DAMAGED at sequence 18")
		s := openTwoSites(t, dir)
		defer s.close()
		if err := s.setBay("south", "bay-9"); err == nil || !strings.Contains(err.Error(), "damaged at sequence 18") {
			t.Errorf("south writes over what it lost: %v", err)
		}
	})

	out, notes, err := program(t, "", "verify", "--data", backup)
	if err != nil {
		t.Errorf("the copy is damaged: %v\n%s%s", err, out, notes)
	}
	has(t, notes, "9 of 9 commits")
	s = openTwoSites(t, backup)
	defer s.close()
	s.newest = newest
	if s.bays("north") != north || s.bays("south") != south {
		t.Error("the copy holds another state")
	}
	if err := s.setBay("north", "bay-9"); err != nil {
		t.Errorf("the copy does not go on: %v", err)
	}
}
