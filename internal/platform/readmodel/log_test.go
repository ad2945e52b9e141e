package readmodel

import (
	"context"
	"crypto/sha256"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/anypb"
	"google.golang.org/protobuf/types/known/timestamppb"
	"google.golang.org/protobuf/types/known/wrapperspb"

	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/memory"
	logv1 "ramprow/proto/ramprow/log/v1"
)

// notes is the toy machine's state: texts by id. Its events are strings of lines
// "id=text" (put) and "id" (drop).
type notes struct {
	texts map[string]string
	filed map[string]uint64 // see archivingProjection
}

const service = "notes"

func notesMachine() sitelog.Machine[*notes] {
	return sitelog.Machine[*notes]{
		Service: service,
		New:     func(string) *notes { return &notes{texts: map[string]string{}} },
		Evolve: func(n *notes, e sitelog.Event) {
			for _, line := range linesOf(e) {
				if id, text, isPut := strings.Cut(line, "="); isPut {
					n.texts[id] = text
				} else {
					delete(n.texts, id)
				}
			}
		},
	}
}

func linesOf(e sitelog.Event) []string {
	return strings.Split(e.Message.(*wrapperspb.StringValue).GetValue(), "\n")
}

// notesProjection has a row "id=text" for each note, listed by text and by id.
func notesProjection(version int) Projection[*notes] {
	return Projection[*notes]{
		Version: version,
		Machine: notesMachine(),
		Models:  []string{"note"},
		Touched: func(_ *notes, e sitelog.Event) []Key {
			var keys []Key
			for _, line := range linesOf(e) {
				id, _, _ := strings.Cut(line, "=")
				keys = append(keys, noteKey(id))
			}
			return keys
		},
		Row: func(n *notes, key Key) (Row, bool) {
			text, ok := n.texts[key.ID]
			return Row{
				Value: wrapperspb.String(key.ID + "=" + text),
				Index: []IndexEntry{{Name: "text", Order: text}, {Name: "id"}},
			}, ok
		},
		Keys: func(n *notes, _ string) []Key {
			var keys []Key
			for id := range n.texts {
				keys = append(keys, noteKey(id))
			}
			return keys
		},
	}
}

func noteKey(id string) Key { return Key{Model: "note", ID: id} }

// author appends commits to one site's log, and knows what they come to.
type author struct {
	t       testing.TB
	log     sitelog.Log
	subject sitelog.Subject

	mu       sync.Mutex
	number   uint64
	sequence uint64
	hash     []byte
	texts    map[string]string
}

func newAuthor(t testing.TB, log sitelog.Log, site string) *author {
	return &author{t: t, log: log, subject: sitelog.Subject{Service: service, Site: site}, texts: map[string]string{}}
}

func newLog(testing.TB) sitelog.Log { return memory.New() }

// put writes one commit with one event per line, and gives its sequence.
func (a *author) put(lines ...string) uint64 {
	a.t.Helper()
	var events []proto.Message
	for _, line := range lines {
		events = append(events, wrapperspb.String(line))
		if id, text, isPut := strings.Cut(line, "="); isPut {
			a.texts[id] = text
		} else {
			delete(a.texts, id)
		}
	}
	return a.write(events...)
}

// write writes one commit of events.
func (a *author) write(events ...proto.Message) uint64 {
	a.t.Helper()
	a.mu.Lock()
	defer a.mu.Unlock()
	entry := &logv1.Entry{Cause: &logv1.Entry_Timer{Timer: &logv1.TimerCause{}}}
	for _, event := range events {
		packed, err := anypb.New(event)
		must(a.t, err)
		entry.Events = append(entry.Events, packed)
	}
	data, err := proto.Marshal(&logv1.Commit{
		Id: fmt.Sprintf("%p-%d", a, a.number+1), Service: service, Site: a.subject.Site,
		Number: a.number + 1, PreviousHash: a.hash,
		Time: timestamppb.New(time.Unix(1_700_000_000, 0)), Entries: []*logv1.Entry{entry},
	})
	must(a.t, err)
	a.sequence, err = a.log.Append(context.Background(), a.subject, a.sequence, sitelog.Message{Data: data})
	must(a.t, err)
	hash := sha256.Sum256(data)
	a.number, a.hash = a.number+1, hash[:]
	return a.sequence
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}
