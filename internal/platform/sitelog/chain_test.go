package sitelog_test

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/anypb"
	"google.golang.org/protobuf/types/known/timestamppb"
	"google.golang.org/protobuf/types/known/wrapperspb"

	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/memory"
	commonv1 "ramprow/proto/ramprow/common/v1"
	logv1 "ramprow/proto/ramprow/log/v1"
)

func packed(t testing.TB, m proto.Message) *anypb.Any {
	t.Helper()
	a, err := anypb.New(m)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func sample(t testing.TB) *logv1.Commit {
	return &logv1.Commit{
		Id: "c-1", Service: "job", Site: site, Number: 1,
		Time: timestamppb.New(time.Date(2026, 3, 4, 5, 6, 7, 8, time.UTC)),
		Entries: []*logv1.Entry{{
			Cause:       &logv1.Entry_Command{Command: &logv1.CommandCause{Method: "/test.Board/Say"}},
			Events:      []*anypb.Any{packed(t, wrapperspb.String("a")), packed(t, wrapperspb.String("b"))},
			Actor:       &commonv1.Actor{Person: "ada", Roles: []commonv1.Role{commonv1.Role_ROLE_TECHNICIAN}},
			Traceparent: "00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01",
		}},
	}
}

func TestDecodeCommitRefuses(t *testing.T) {
	for name, change := range map[string]func(*logv1.Commit){
		"no id":                      func(c *logv1.Commit) { c.Id = "" },
		"no number":                  func(c *logv1.Commit) { c.Number = 0 },
		"no time":                    func(c *logv1.Commit) { c.Time = nil },
		"a time out of range":        func(c *logv1.Commit) { c.Time.Nanos = -1 },
		"no entries":                 func(c *logv1.Commit) { c.Entries = nil },
		"a first commit with a hash": func(c *logv1.Commit) { c.PreviousHash = make([]byte, sha256.Size) },
		"a second one without":       func(c *logv1.Commit) { c.Number = 2 },
		"half a hash":                func(c *logv1.Commit) { c.Number, c.PreviousHash = 2, make([]byte, 16) },
	} {
		c := sample(t)
		change(c)
		data, err := proto.Marshal(c)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := sitelog.DecodeCommit(data); err == nil {
			t.Errorf("%s: taken", name)
		}
	}
}

func TestEventsOf(t *testing.T) {
	data, err := proto.Marshal(sample(t))
	if err != nil {
		t.Fatal(err)
	}
	events, err := sitelog.EventsOf(sitelog.Record{Sequence: 9, Message: sitelog.Message{Data: data}})
	if err != nil || len(events) != 2 {
		t.Fatalf("%v, %v", events, err)
	}
	e := events[1]
	// The trace id is the one of the W3C Trace Context recommendation's own example.
	if text(e.Message) != "b" || e.Site != site || e.Number != 1 || e.Sequence != 9 || e.Actor.Person != "ada" ||
		e.Actor.Roles[0] != "ROLE_TECHNICIAN" || e.TraceID != "4bf92f3577b34da6a3ce929d0e0e4736" ||
		!e.Time.Equal(time.Date(2026, 3, 4, 5, 6, 7, 8, time.UTC)) {
		t.Errorf("got %+v", e)
	}
}

// The chain is plain SHA-256 of the stored payload: any other program can check it.
func TestChainHoldsHashesOfPayloads(t *testing.T) {
	log := memory.New()
	r := open(t, log, boardMachine("job"), sitelog.Options{})
	for _, word := range []string{"anvil", "bellows", "clamp"} {
		mustDo(t, r, add("", word))
	}
	previous, number := "", uint64(0)
	if err := log.Read(t.Context(), jobSubject, 0, func(rec sitelog.Record) error {
		c := &logv1.Commit{}
		if err := proto.Unmarshal(rec.Data, c); err != nil {
			return err
		}
		number++
		if hex.EncodeToString(c.GetPreviousHash()) != previous || c.GetNumber() != number {
			t.Errorf("commit %d holds %x, not %s", c.GetNumber(), c.GetPreviousHash(), previous)
		}
		sum := sha256.Sum256(rec.Data)
		previous = hex.EncodeToString(sum[:])
		return nil
	}); err != nil || number != 3 {
		t.Fatalf("%d commits, %v", number, err)
	}
}

// CloudEvents 1.0, binary mode of the NATS protocol binding: every attribute is
// a header with the prefix ce-, in lower case.
func TestHeadersAreCloudEvents(t *testing.T) {
	log := memory.New()
	r := open(t, log, boardMachine("job"), sitelog.Options{
		Now:   func() time.Time { return time.Date(2026, 3, 4, 5, 6, 7, 8, time.UTC) },
		NewID: func() string { return "fixed-id" },
	})
	mustDo(t, r, add("", "anvil"))
	last, err := log.Last(t.Context(), jobSubject)
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]string{
		"ce-specversion":     "1.0",
		"ce-id":              "fixed-id",
		"ce-source":          "/ramprow/job/main-street",
		"ce-type":            "ramprow.log.v1.Commit",
		"ce-subject":         "main-street",
		"ce-time":            "2026-03-04T05:06:07.000000008Z",
		"ce-datacontenttype": "application/protobuf",
		"ce-dataschema":      "proto:ramprow.log.v1.Commit",
	}
	for key, value := range want {
		if last.Header[key] != value {
			t.Errorf("%s is %q, not %q", key, last.Header[key], value)
		}
	}
	if len(last.Header) != len(want) {
		t.Errorf("headers are %v", last.Header)
	}
}

// FNV-1a, 32 bits: the offset basis for the empty text and the values for "a"
// and "foobar" are those of draft-eastlake-fnv, appendix C (from memory).
func TestPartition(t *testing.T) {
	for text, hash := range map[string]uint32{"": 0x811c9dc5, "a": 0xe40c292c, "foobar": 0xbf9cf968} {
		for _, n := range []uint32{1, 16, 7} {
			want := fmt.Sprintf("p%02d", hash%n)
			if got := sitelog.Partition(text, int(n)); got != want {
				t.Errorf("%q of %d is in %s, not %s", text, n, got, want)
			}
		}
	}
	if sitelog.Partition("a", 0) != sitelog.Partition("a", sitelog.DefaultPartitions) {
		t.Error("no number of partitions is not the default one")
	}
}

func FuzzDecodeCommit(f *testing.F) {
	good, err := proto.Marshal(sample(f))
	if err != nil {
		f.Fatal(err)
	}
	f.Add(good)
	f.Add(good[:len(good)/2])
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, data []byte) {
		commit, err := sitelog.DecodeCommit(data)
		if err != nil {
			return
		}
		if commit.GetId() == "" || commit.GetNumber() == 0 || len(commit.GetEntries()) == 0 {
			t.Fatalf("taken: %v", commit)
		}
		// What was taken can be written, read and walked again.
		again, err := proto.Marshal(commit)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := sitelog.DecodeCommit(again); err != nil {
			t.Fatalf("not taken the second time: %v", err)
		}
		_, _ = sitelog.CommitEvents(commit, 1)
		chain := sitelog.Chain{Subject: sitelog.Subject{Service: commit.GetService(), Site: commit.GetSite()}}
		if _, err := chain.Next(sitelog.Record{Sequence: 1, Message: sitelog.Message{Data: data}}); (err == nil) != (commit.GetNumber() == 1) {
			t.Fatalf("the chain begins with commit %d: %v", commit.GetNumber(), err)
		}
	})
}
