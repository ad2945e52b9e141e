package terminal

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

// TestReadingsWaitForTheServer: while the server is away readings stay on disk
// with their own time; when it is back they are sent first, in order, once.
func TestReadingsWaitForTheServer(t *testing.T) {
	alone(t)
	dir := t.TempDir()
	f := &flaky{away: 1000, bolt: 1}
	address := f.serve(t)
	post := func(bolt, nm string) (string, error) {
		return execute(t, "", "tighten", "post", "17", "cover", bolt, "--wrench", "w1", "--torque", nm, "--token", "x", "--data", dir, "--torque-audit-address", address)
	}
	for i, nm := range []string{"9.5", "9.6"} {
		if _, err := post(fmt.Sprint(i+1), nm); err == nil || !strings.Contains(err.Error(), "on this terminal; see: ramprow tighten waiting") {
			t.Fatalf("away: %v", err)
		}
	}
	out, err := execute(t, "", "tighten", "waiting", "--data", dir)
	if err != nil || !strings.Contains(out, "cover 1: 9.5 N·m") || !strings.Contains(out, "2 readings wait. Next: ramprow tighten send") {
		t.Errorf("%q, %v", out, err)
	}
	f.mu.Lock()
	f.away, f.posted = 0, nil
	f.mu.Unlock()
	if out, err = post("3", "9.7"); err != nil || !strings.Contains(out, "cover 3: conforms") {
		t.Fatalf("%q, %v", out, err)
	}
	var torques []float64
	for i, r := range f.posted {
		torques = append(torques, r.GetTorqueNm())
		if r.GetAt() == nil || i > 0 && r.GetAt().AsTime().Before(f.posted[i-1].GetAt().AsTime()) {
			t.Errorf("reading %d is of %v", i, r.GetAt())
		}
	}
	if !slices.Equal(torques, []float64{9.5, 9.6, 9.7}) {
		t.Errorf("sent %v", torques)
	}
	if out, err = execute(t, "", "tighten", "send", "--data", dir, "--token", "x", "--torque-audit-address", address); err != nil || !strings.Contains(out, "0 readings sent; nothing waits.") {
		t.Errorf("%q, %v", out, err)
	}
}

// TestARefusedReadingWaitsNoMore: the server's no is an answer.
func TestARefusedReadingWaitsNoMore(t *testing.T) {
	alone(t)
	dir := t.TempDir()
	w := waitingOf(dir, "x")
	for i, nm := range []float64{9.5, 400, 9.7} {
		r := &torqueauditv1.PostReadingRequest{RequestId: fmt.Sprintf("reading-%04d", i), Job: "jobs/17", Joint: "cover", Fastener: 1, Wrench: "wrenches/w1", TorqueNm: nm, At: stampNow(t)}
		if err := w.add(r); err != nil {
			t.Fatal(err)
		}
	}
	f := &flaky{bolt: 1}
	out, err := execute(t, "", "tighten", "send", "--data", dir, "--token", "x", "--torque-audit-address", f.serve(t))
	if err != nil || !strings.Contains(out, "3 readings sent") || len(f.posted) != 3 {
		t.Errorf("%q, %v, %d posted", out, err, len(f.posted))
	}
	if left, err := w.list(); err != nil || len(left) != 0 {
		t.Errorf("left %v, %v", left, err)
	}
}

// TestWaitingIsAQueueOnDisk: whatever is added and taken out, what is read back
// is the rest, in order, each once; and a line cut off at the end harms nothing.
func TestWaitingIsAQueueOnDisk(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		dir, err := os.MkdirTemp("", "waiting-")
		if err != nil {
			r.Fatal(err)
		}
		defer func() { _ = os.RemoveAll(dir) }()
		w := waitingOf(dir, "x")
		var want []*torqueauditv1.PostReadingRequest
		for range rapid.IntRange(1, 12).Draw(r, "steps") {
			id := fmt.Sprintf("reading-%04d", rapid.IntRange(1, 6).Draw(r, "id"))
			if rapid.Bool().Draw(r, "add") {
				reading := &torqueauditv1.PostReadingRequest{RequestId: id, TorqueNm: rapid.Float64Range(0, 100).Draw(r, "nm")}
				if err := w.add(reading); err != nil {
					r.Fatal(err)
				}
				if !slices.ContainsFunc(want, sameID(id)) {
					want = append(want, reading)
				}
			} else {
				if err := w.remove(id); err != nil {
					r.Fatal(err)
				}
				want = slices.DeleteFunc(want, sameID(id))
			}
		}
		got, err := w.list()
		if err != nil || !slices.EqualFunc(got, want, func(a, b *torqueauditv1.PostReadingRequest) bool { return proto.Equal(a, b) }) {
			r.Fatalf("got %v, %v; want %v", got, err, want)
		}
		file, err := os.OpenFile(w.file, os.O_APPEND|os.O_WRONLY|os.O_CREATE, 0o600)
		if err != nil {
			r.Skip("nothing was ever written")
		}
		_, _ = file.WriteString(`{"requestId":"half`)
		_ = file.Close()
		if again, err := w.list(); err != nil || len(again) != len(want) {
			r.Fatalf("with half a line: %v, %v", again, err)
		}
	})
}

// TestNobodySendsForAnother: each person has their own readings, whichever
// token they hold (the payload of a token of RFC 7519).
func TestNobodySendsForAnother(t *testing.T) {
	dir := t.TempDir()
	token := func(payload string) string { return "e30." + payload + ".sig" }
	ada := token("eyJzdWIiOiJhZGEiLCJzaXRlIjoibm9ydGgiLCJleHAiOjF9")   // {"sub":"ada","site":"north","exp":1}
	later := token("eyJzdWIiOiJhZGEiLCJzaXRlIjoibm9ydGgiLCJleHAiOjJ9") // the same person later
	ben := token("eyJzdWIiOiJiZW4iLCJzaXRlIjoibm9ydGgifQ")             // {"sub":"ben","site":"north"}
	if waitingOf(dir, ada) != waitingOf(dir, later) || waitingOf(dir, ada) == waitingOf(dir, ben) {
		t.Error("whose readings are whose is mixed up")
	}
	if filepath.Dir(waitingOf(dir, ada).file) != waitingDir(dir) {
		t.Error("they wait elsewhere")
	}
}
