package readmodel

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/wrapperspb"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	logv1 "ramprow/proto/ramprow/log/v1"
)

// archivingProjection is the toy whose notes may leave the state. Notes that
// begin with "x" never do. Listing by text promises only what is in the state.
func archivingProjection() Projection[*notes] {
	p := notesProjection(1)
	evolve, touched := p.Machine.Evolve, p.Touched
	p.Machine.New = func(string) *notes { return &notes{texts: map[string]string{}, filed: map[string]uint64{}} }
	p.Machine.Evolve = func(n *notes, e sitelog.Event) {
		switch m := e.Message.(type) {
		case *logv1.Archived:
			delete(n.texts, m.GetName())
			n.filed[m.GetName()] = e.Number
		case *logv1.Recalled:
			var text wrapperspb.StringValue
			sitelog.Unpack(m.GetRecord(), &text)
			n.texts[m.GetName()] = text.GetValue()
			delete(n.filed, m.GetName())
		default:
			evolve(n, e)
		}
	}
	p.Touched = func(n *notes, e sitelog.Event) []Key {
		if _, ok := e.Message.(*wrapperspb.StringValue); !ok {
			return nil
		}
		return touched(n, e)
	}
	find := func(n *notes, name string) *sitelog.ArchivedError {
		if commit := n.filed[name]; commit != 0 {
			return &sitelog.ArchivedError{Name: name, Commit: commit}
		}
		return nil
	}
	p.Archive = &Archive[*notes]{
		Find: find,
		All: func(n *notes) (names []string) {
			for name := range n.filed {
				names = append(names, name)
			}
			return names
		},
		RowsOf: func(_ *notes, name string) []Key { return []Key{noteKey(name)} },
		Of: func(key Key) string {
			if strings.HasPrefix(key.ID, "x") {
				return ""
			}
			return key.ID
		},
		Lists: func(_ *notes, _, index, _ string) (string, bool) { return "", index == "id" },
	}
	return p
}

// archive lets a note leave the state.
func (a *author) archive(id string) uint64 {
	a.t.Helper()
	event, err := sitelog.Archive(id, wrapperspb.String(a.texts[id]))
	must(a.t, err)
	return a.write(event)
}

// The rows of what is archived stay; an empty Redis is filled with them as with
// all others; and while it is away they are read, watched, and not listed in part.
func TestRowsOfWhatIsArchived(t *testing.T) {
	overServers(t, func(t *testing.T, url string) {
		log := newLog(t)
		a := newAuthor(t, log, "north")
		b := run(t, Config[*notes]{Projection: archivingProjection(), Log: log}, url)
		for i := range fillChunk + 5 {
			a.put(fmt.Sprintf("n%d=%d", i, i))
		}
		a.put("x=open", "a=one")
		b.settled("north", a.sequence)
		for i := range fillChunk + 5 {
			a.archive(fmt.Sprintf("n%d", i))
		}
		revision := a.archive("a")
		checkContents(t, b, a)

		must(t, b.projector.Rebuild(context.Background(), "north", nil))
		checkContents(t, b, a)
		must(t, b.store.client.FlushAll(context.Background()).Err())
		a.put("y=anything")
		checkContents(t, b, a)

		claimed(t, b, b.projector.sites["north"].keys)
		if text, _, err := b.get(b.views, "north", "a", revision); err != nil || text != "a=one" {
			t.Errorf("a reads %q (%v)", text, err)
		}
		newRow := func() proto.Message { return &wrapperspb.StringValue{} }
		_, err := b.views.List(context.Background(), ListQuery{Site: "north", Model: "note", Index: "id"}, newRow)
		if fault.KindOf(err) != fault.Unavailable || fault.ReasonOf(err) != ReasonAway {
			t.Errorf("a list of all: %v", err)
		}
		page, err := b.views.List(context.Background(), ListQuery{Site: "north", Model: "note", Index: "text"}, newRow)
		if err != nil || len(page.Rows) != 2 {
			t.Errorf("a list of what stays: %v %v", page.Rows, err)
		}

		var seen []string
		err = b.views.Watch(context.Background(), WatchQuery{
			Site: "north", Model: "note", Keys: []Key{noteKey("a")}, Filter: func(k Key) bool { return k.ID == "a" },
		}, func(c Change) error {
			seen = append(seen, c.Row.(*wrapperspb.StringValue).GetValue())
			return errEnough
		})
		if !errors.Is(err, errEnough) || len(seen) != 1 || seen[0] != "a=one" {
			t.Errorf("a watcher saw %v (%v)", seen, err)
		}
	})
}

// What changed while Redis was away and then left the state is written all the same.
func TestWhatChangedAndLeftIsWritten(t *testing.T) {
	log := newLog(t)
	a := newAuthor(t, log, "north")
	url := startEmbedded(t)
	b := run(t, Config[*notes]{Projection: archivingProjection(), Log: log}, url)
	a.put("a=one", "b=two")
	b.settled("north", a.sequence)
	b.stop()
	a.put("a=uno")
	a.archive("a")
	a.put("b=due")
	again := run(t, Config[*notes]{Projection: archivingProjection(), Log: log}, url)
	checkContents(t, again, a)
}
