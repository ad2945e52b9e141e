package frozen_test

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"ramprow/internal/platform/readmodel"
	"ramprow/internal/platform/sitelog"
	"ramprow/services/inventory"
	"ramprow/services/job"
	"ramprow/services/scheduling"
	torqueaudit "ramprow/services/torque_audit"
)

var rewriteRows = flag.Bool("rows", false, "write the rows of recorded logs anew where a projection's Version was raised")

// The ends of the files that a recorded log consists of.
const (
	logEnd  = ".log.jsonl.gz"
	rowsEnd = ".rows.jsonl.gz"
)

// rows are what the read models of one service hold once a log is folded.
type rows struct {
	Service string         `json:"service"`
	Version int            `json:"version"` // of the projection
	Rows    map[string]row `json:"rows"`    // by model and identifier
}

type row struct {
	Type  protoreflect.FullName  `json:"type"`
	Index []readmodel.IndexEntry `json:"index"`
	Value json.RawMessage        `json:"value"`
}

// foldings give the rows of one service each.
var foldings = []func(*testing.T, []sitelog.Record) rows{
	func(t *testing.T, r []sitelog.Record) rows { return folded(t, job.Projection(), r) },
	func(t *testing.T, r []sitelog.Record) rows { return folded(t, inventory.Projection(), r) },
	func(t *testing.T, r []sitelog.Record) rows { return folded(t, scheduling.Projection(), r) },
	func(t *testing.T, r []sitelog.Record) rows { return folded(t, torqueaudit.Projection(), r) },
}

// folded reads a log as a projector does: after each commit, the rows it touched.
func folded[S any](t *testing.T, p readmodel.Projection[S], records []sitelog.Record) rows {
	t.Helper()
	out := rows{Service: p.Machine.Service, Version: p.Version, Rows: map[string]row{}}
	var state S
	chain := sitelog.Chain{}
	for _, r := range records {
		if r.Subject.Service != p.Machine.Service {
			continue
		}
		if chain.Number == 0 {
			chain.Subject, state = r.Subject, p.Machine.New(r.Subject.Site)
		}
		commit, err := chain.Next(r)
		if err != nil {
			t.Fatal(err)
		}
		events, err := sitelog.CommitEvents(commit, r.Sequence)
		if err != nil {
			t.Fatal(err)
		}
		touched := map[readmodel.Key]bool{}
		for _, e := range events {
			if unknown(e.Message) {
				t.Fatalf("%s %d: a part of %T is foreign to this program", r.Subject.Service, r.Sequence, e.Message)
			}
			p.Machine.Evolve(state, e)
			for _, key := range p.Touched(state, e) {
				touched[key] = true
			}
		}
		for key := range touched {
			name := key.Model + " " + key.ID
			if found, ok := p.Row(state, key); ok {
				out.Rows[name] = rowOf(t, found)
			} else {
				delete(out.Rows, name)
			}
		}
	}
	return out
}

func rowOf(t *testing.T, r readmodel.Row) row {
	t.Helper()
	value, err := protojson.Marshal(r.Value)
	if err != nil {
		t.Fatal(err)
	}
	return row{Type: r.Value.ProtoReflect().Descriptor().FullName(), Index: r.Index, Value: value}
}

func recorded(t *testing.T) (names []string) {
	t.Helper()
	files, err := filepath.Glob("testdata/*" + logEnd)
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range files {
		names = append(names, strings.TrimSuffix(file, logEnd))
	}
	return names
}

// A log of an earlier program is read, its chain holds, and the rows that
// readers saw then are the rows that they see now.
func TestRecordedLogsGiveTheirRows(t *testing.T) {
	names := recorded(t)
	if len(names) < 2 {
		t.Fatal("the recorded logs are missing")
	}
	for _, name := range names {
		t.Run(filepath.Base(name), func(t *testing.T) {
			records := readLog(t, name+logEnd)
			known := map[string]rows{}
			readPacked(t, name+rowsEnd, func(line []byte) {
				var r rows
				if err := json.Unmarshal(line, &r); err != nil {
					t.Fatal(err)
				}
				known[r.Service] = r
			})
			var now []rows
			for _, fold := range foldings {
				got := fold(t, records)
				want, ok := known[got.Service]
				switch {
				case *rewriteRows && (!ok || got.Version > want.Version):
				case *rewriteRows:
					got = want
				default:
					compare(t, got, want)
				}
				now = append(now, got)
			}
			if *rewriteRows {
				writePacked(t, name+rowsEnd, now)
			}
		})
	}
}

func compare(t *testing.T, got, want rows) {
	t.Helper()
	differ, failed := 0, false
	for name, w := range want.Rows {
		g, ok := got.Rows[name]
		if !ok {
			failed = true
			t.Errorf("%s: the row %s is missing", got.Service, name)
		} else if text := difference(t, g, w); text != "" {
			failed = true
			if differ++; differ <= 3 {
				t.Errorf("%s: the row %s differs: %s", got.Service, name, text)
			}
		}
	}
	for name := range got.Rows {
		if _, ok := want.Rows[name]; !ok {
			failed = true
			t.Errorf("%s: the row %s is new", got.Service, name)
		}
	}
	if failed {
		t.Errorf("if the rows of %s are meant to change, raise its projection's Version above %d (rows in Redis are stale, too), then run 'go test ./services/ramprow/frozen -rows'",
			got.Service, want.Version)
	}
}

func difference(t *testing.T, got, want row) string {
	t.Helper()
	if got.Type != want.Type {
		return fmt.Sprintf("it is a %s, and was a %s", got.Type, want.Type)
	}
	if fmt.Sprint(got.Index) != fmt.Sprint(want.Index) {
		return fmt.Sprintf("it is listed in %v, and was in %v", got.Index, want.Index)
	}
	g, w := newMessage(t, got.Type), newMessage(t, want.Type)
	for m, text := range map[proto.Message]json.RawMessage{g: got.Value, w: want.Value} {
		if err := protojson.Unmarshal(text, m); err != nil {
			return err.Error()
		}
	}
	if !proto.Equal(g, w) {
		return fmt.Sprintf("it is %v, and was %v", g, w)
	}
	return ""
}

func readLog(t *testing.T, name string) []sitelog.Record {
	t.Helper()
	var records []sitelog.Record
	readPacked(t, name, func(line []byte) {
		var r sitelog.Record
		if err := json.Unmarshal(line, &r); err != nil {
			t.Fatal(err)
		}
		records = append(records, r)
	})
	if len(records) == 0 {
		t.Fatalf("%s holds nothing", name)
	}
	return records
}

// readPacked gives the lines of a packed file; none if there is no file.
func readPacked(t *testing.T, name string, fn func(line []byte)) {
	t.Helper()
	packed, err := os.ReadFile(name)
	if os.IsNotExist(err) {
		return
	}
	if err != nil {
		t.Fatal(err)
	}
	unpacker, err := gzip.NewReader(bytes.NewReader(packed))
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(unpacker)
	if err != nil {
		t.Fatal(err)
	}
	for line := range bytes.Lines(text) {
		fn(line)
	}
}

func writePacked[T any](t *testing.T, name string, items []T) {
	t.Helper()
	var packed bytes.Buffer
	packer, err := gzip.NewWriterLevel(&packed, gzip.BestCompression)
	if err != nil {
		t.Fatal(err)
	}
	encoder := json.NewEncoder(packer)
	for _, item := range items {
		if err := encoder.Encode(item); err != nil {
			t.Fatal(err)
		}
	}
	if err := packer.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, packed.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
}
