package sitelog

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/trace"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/anypb"

	"ramprow/internal/platform/telemetry"
	logv1 "ramprow/proto/ramprow/log/v1"
)

// reactionRoom is how many times MaxCommitBytes a commit may reach by reactions
// to one foreign commit. What no longer fits is parked; parking takes as much
// again at most, because it stores the foreign events.
const reactionRoom = 2

// foreignEvent is one event of a foreign commit with its place.
type foreignEvent struct {
	Foreign
	entry  *logv1.Entry // the foreign entry
	packed *anypb.Any
	i, j   int // which entry, which event of it
}

func (e *foreignEvent) id() string {
	return fmt.Sprintf("%s.%d.%d.%d", e.Service, e.Sequence, e.i, e.j)
}

// react takes one foreign commit. All that it brings about lands in one own
// commit together with the position, because everything is added to one batch.
func (w *writer[S]) react(f foreignCommit) {
	if f.sequence <= w.foreign.seen[f.service] {
		return
	}
	before := len(w.batch.entries)
	for _, e := range eventsIn(f, w.subject.Site) {
		if w.reactTo(e); w.spoiled {
			return
		}
	}
	w.foreign.seen[f.service] = f.sequence
	if len(w.batch.entries) > before {
		w.foreign.skipped[f.service] = 0
		return
	}
	w.foreign.skipped[f.service]++
	if w.foreign.skipped[f.service] >= ProgressEvery {
		w.foreign.skipped[f.service] = 0
		w.writeProgress(f)
	}
}

func (w *writer[S]) writeProgress(f foreignCommit) {
	w.batch.now(w.o)
	entry := &logv1.Entry{Cause: &logv1.Entry_Progress{
		Progress: &logv1.ProgressCause{Service: f.service, Sequence: f.sequence},
	}}
	// An entry without events gives Evolve nothing to fail on.
	_ = w.apply(draft{entry: entry}, proto.Size(entry))
}

// eventsIn unfolds a foreign commit. A payload that is no commit counts as one
// event that cannot be read, so that it is parked and not lost.
func eventsIn(f foreignCommit, site string) []*foreignEvent {
	if f.broken != nil {
		raw := &anypb.Any{TypeUrl: "type.googleapis.com/" + CommitType, Value: f.payload}
		return []*foreignEvent{{Foreign: Foreign{Service: f.service, Site: site, Sequence: f.sequence}, entry: &logv1.Entry{}, packed: raw}}
	}
	var events []*foreignEvent
	for i, entry := range f.commit.GetEntries() {
		frame := Foreign{
			Service:  f.service,
			Site:     site,
			Sequence: f.sequence,
			CommitID: f.commit.GetId(),
			Time:     f.commit.GetTime().AsTime(),
			Actor:    actorFrom(entry.GetActor()),
		}
		for j, packed := range entry.GetEvents() {
			events = append(events, &foreignEvent{Foreign: frame, entry: entry, packed: packed, i: i, j: j})
		}
	}
	return events
}

// reactTo handles one foreign event: nothing, an entry with its effects, or an
// entry that parks it.
func (w *writer[S]) reactTo(e *foreignEvent) {
	began := time.Now() // of the span, which ends by this clock, not of what is decided
	in := w.input(e.Actor)
	d, err := w.handle(e, in)
	if err == nil && len(d.messages) == 0 {
		return
	}
	if err != nil {
		d = parkDraft(e, err, 1)
		w.o.Logger.Warn("foreign event parked", "service", w.subject.Service, "site", w.subject.Site,
			"parked", e.id(), "event", e.packed.GetTypeUrl(), "error", err)
	}
	ctx, span := w.tracer.Start(traceOf(context.Background(), e.entry),
		"react "+e.Service+" "+shortName(e.packed), trace.WithTimestamp(began),
		trace.WithSpanKind(trace.SpanKindConsumer), messaging(e.Service, "process", "process"))
	if span.IsRecording() {
		span.SetAttributes(
			attribute.String("messaging.message.id", e.CommitID),
			telemetry.About(append([]proto.Message{e.Message}, d.messages...)...))
		span.SetAttributes(w.mine(d.messages)...)
		if err != nil {
			span.SetAttributes(attribute.String(telemetry.AttributeParked, e.id()))
		}
	}
	if err != nil {
		span.RecordError(err)
	}
	d.entry.Actor = actorTo(e.Actor)
	stamp(ctx, d.entry)
	w.batch.spans = append(w.batch.spans, span)
	if err := w.apply(d, proto.Size(d.entry)); err != nil {
		w.foreign.poison[e.id()] = err.Error()
	}
}

// handle asks the service. The error says why the event must be parked.
func (w *writer[S]) handle(e *foreignEvent, in Input) (draft, error) {
	if reason, poisoned := w.foreign.poison[e.id()]; poisoned {
		return draft{}, errors.New(reason)
	}
	d, err := w.tryReact(e, in)
	if err != nil || len(d.messages) == 0 {
		return draft{}, err
	}
	if size, room := proto.Size(d.entry), reactionRoom*w.o.MaxCommitBytes-w.batch.bytes; size > room {
		return draft{}, fmt.Errorf("its effects take %d bytes, and the commit has room for %d", size, room)
	}
	return d, nil
}

// tryReact decodes an event and runs React on it. Most events are of no interest,
// so an entry is made only for what is.
func (w *writer[S]) tryReact(e *foreignEvent, in Input) (draft, error) {
	var d draft
	recalled, err := w.recalling(func() error {
		message, err := e.packed.UnmarshalNew()
		if err != nil {
			return fmt.Errorf("this build cannot read the event: %w", err)
		}
		if _, isCommit := message.(*logv1.Commit); isCommit {
			return errors.New("the payload is no commit")
		}
		e.Message = message
		messages, err := w.machine.React(w.state, e.Foreign, in)
		if err != nil || len(messages) == 0 {
			return err
		}
		d.entry = reactionEntry(e)
		return d.fill(messages)
	})
	if err == nil {
		err = d.fillWith(recalled)
	}
	return d, err
}

func reactionEntry(e *foreignEvent) *logv1.Entry {
	return &logv1.Entry{Cause: &logv1.Entry_Reaction{Reaction: &logv1.ReactionCause{
		Service:    e.Service,
		Sequence:   e.Sequence,
		EntryIndex: uint32(e.i), //nolint:gosec // bounded by a commit's size
		EventIndex: uint32(e.j), //nolint:gosec // bounded by a commit's size
		CommitId:   e.CommitID,
	}}}
}

// shortName is an event's name without its package, as in PartsHeld.
func shortName(packed *anypb.Any) string {
	name := string(packed.MessageName())
	return name[strings.LastIndexByte(name, '.')+1:]
}
