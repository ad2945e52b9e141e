package sitelog

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/types/known/anypb"

	"ramprow/internal/platform/fault"
	logv1 "ramprow/proto/ramprow/log/v1"
)

// maxErrorText bounds, in bytes, what is kept of why an event could not be handled.
const maxErrorText = 2000

// ReleaseCommand tries a parked event again. Its answer is a
// *logv1.ReleaseParkedResponse without a receipt.
type ReleaseCommand struct {
	Request *logv1.ReleaseParkedRequest
	Actor   Actor
}

// DropCommand gives a parked event up for a reason, which stays in the log.
// Its answer is a *logv1.DropParkedResponse without a receipt.
type DropCommand struct {
	Request *logv1.DropParkedRequest
	Actor   Actor
}

// Parked lists what could not be handled, in the order of services and sequences.
func (r *Runner[S]) Parked(ctx context.Context, site string) ([]ParkedEvent, error) {
	var parked []ParkedEvent
	_, err := r.look(ctx, site, func(w *writer[S]) error {
		parked = parked[:0]
		for _, p := range w.ledger.parked {
			parked = append(parked, p)
		}
		return nil
	})
	if err != nil {
		return nil, err // the writer may still be filling the list
	}
	slices.SortFunc(parked, comparePlaces)
	return parked, nil
}

func comparePlaces(a, b ParkedEvent) int {
	if c := strings.Compare(a.Service, b.Service); c != 0 {
		return c
	}
	if a.Sequence != b.Sequence {
		return cmp.Compare(a.Sequence, b.Sequence)
	}
	if a.Entry != b.Entry {
		return cmp.Compare(a.Entry, b.Entry)
	}
	return cmp.Compare(a.Index, b.Index)
}

// Release tries a parked event again. If that fails it stays parked with one
// more attempt, and the answer says so; that too is written.
func (r *Runner[S]) Release(ctx context.Context, site string, c ReleaseCommand) (Outcome, error) {
	cause, err := causeOf(logv1.LogService_ReleaseParked_FullMethodName, c.Request.GetRequestId(), c.Request)
	if err != nil {
		return Outcome{}, err
	}
	// The event is read before the writer is asked, which must not wait for a
	// foreign log. Whether it is still parked is for the writer to say.
	event, err := r.foreignEvent(ctx, site, c.Request.GetId())
	if err != nil {
		return Outcome{}, err
	}
	return r.call(ctx, site, c.Actor, cause, func(w *writer[S], in Input) (draft, error) {
		parked, ok := w.ledger.parked[c.Request.GetId()]
		if !ok || event == nil {
			return draft{}, notParked(c.Request.GetId())
		}
		return w.release(parked, event, cause, in)
	})
}

// Drop gives a parked event up.
func (r *Runner[S]) Drop(ctx context.Context, site string, c DropCommand) (Outcome, error) {
	if strings.TrimSpace(c.Request.GetReason()) == "" {
		return Outcome{}, fault.New(fault.Invalid, ReasonBadCommand, "a parked event is dropped only with a reason").
			WithField("reason", "say why the event is given up")
	}
	cause, err := causeOf(logv1.LogService_DropParked_FullMethodName, c.Request.GetRequestId(), c.Request)
	if err != nil {
		return Outcome{}, err
	}
	return r.call(ctx, site, c.Actor, cause, func(w *writer[S], _ Input) (draft, error) {
		parked, ok := w.ledger.parked[c.Request.GetId()]
		if !ok {
			return draft{}, notParked(c.Request.GetId())
		}
		d := draft{entry: parked.cause(), response: &logv1.DropParkedResponse{}}
		parking := &logv1.Parking{
			ParkedId: parked.ID,
			Outcome:  logv1.Parking_OUTCOME_DROPPED,
			Error:    c.Request.GetReason(),
			Attempts: parked.Attempts,
			Event:    parked.Event,
		}
		return d, settleParking(&d, parking, cause)
	})
}

// release runs React once more, inside the writer.
func (w *writer[S]) release(parked ParkedEvent, event *foreignEvent, cause *logv1.CommandCause, in Input) (draft, error) {
	d, err := w.tryReact(event, in)
	if d.entry == nil { // it brings nothing about, and is settled all the same
		d.entry = reactionEntry(event)
	}
	parking := &logv1.Parking{
		ParkedId: parked.ID,
		Outcome:  logv1.Parking_OUTCOME_RELEASED,
		Attempts: parked.Attempts + 1,
		Event:    parked.Event,
	}
	answer := &logv1.ReleaseParkedResponse{Handled: true}
	if err != nil {
		d = draft{entry: parked.cause()}
		parking.Outcome, parking.Error = logv1.Parking_OUTCOME_PARKED, readable(err)
		answer.Handled, answer.Error = false, parking.GetError()
	}
	d.response = answer
	return d, settleParking(&d, parking, cause)
}

// settleParking puts a parking and the call behind it into a draft's cause.
func settleParking(d *draft, parking *logv1.Parking, cause *logv1.CommandCause) error {
	response, err := anypb.New(d.response)
	if err != nil {
		return fmt.Errorf("encode the answer about %s: %w", parking.GetParkedId(), err)
	}
	parking.Command = &logv1.CommandCause{
		Method:      cause.GetMethod(),
		RequestId:   cause.GetRequestId(),
		Fingerprint: cause.GetFingerprint(),
		Response:    response,
	}
	d.entry.GetReaction().Parking = parking
	return nil
}

// foreignEvent reads a parked event from where it came; nil if nothing is
// parked under the id.
func (r *Runner[S]) foreignEvent(ctx context.Context, site, id string) (*foreignEvent, error) {
	var parked *ParkedEvent
	if _, err := r.look(ctx, site, func(w *writer[S]) error {
		parked = nil
		if p, ok := w.ledger.parked[id]; ok {
			parked = &p
		}
		return nil
	}); err != nil || parked == nil {
		return nil, err
	}
	subject := Subject{Service: parked.Service, Site: site}
	f := foreignCommit{service: parked.Service, sequence: parked.Sequence}
	err := r.log.Read(ctx, subject, parked.Sequence-1, func(rec Record) error {
		if rec.Sequence == parked.Sequence {
			f.payload = rec.Data
			f.commit, f.broken = DecodeCommit(rec.Data)
		}
		return errStop
	})
	if err != nil && !errors.Is(err, errStop) {
		return nil, logAway(subject, err)
	}
	for _, e := range eventsIn(f, site) {
		if e.id() == id {
			return e, nil
		}
	}
	return nil, outward(subject, damaged(subject, parked.Sequence, "the parked event is no longer there"))
}

// cause is the entry that speaks of a parked event.
func (p ParkedEvent) cause() *logv1.Entry {
	return &logv1.Entry{Cause: &logv1.Entry_Reaction{Reaction: &logv1.ReactionCause{
		Service:    p.Service,
		Sequence:   p.Sequence,
		EntryIndex: p.Entry,
		EventIndex: p.Index,
		CommitId:   p.CommitID,
	}}}
}

// parkDraft sets a foreign event aside.
func parkDraft(e *foreignEvent, err error, attempts uint32) draft {
	entry := reactionEntry(e)
	entry.GetReaction().Parking = &logv1.Parking{
		ParkedId: e.id(),
		Outcome:  logv1.Parking_OUTCOME_PARKED,
		Error:    readable(err),
		Attempts: attempts,
		Event:    e.packed,
	}
	return draft{entry: entry}
}

// readable makes an error fit for the log: valid text of a bounded length.
func readable(err error) string {
	text := err.Error()
	if p, ok := errors.AsType[*panicError](err); ok {
		text = fmt.Sprintf("panic: %v", p.value)
	}
	if len(text) > maxErrorText {
		text = text[:maxErrorText]
	}
	return strings.ToValidUTF8(text, "?")
}

func notParked(id string) error {
	return fault.New(fault.NotFound, ReasonNotParked,
		"no event is parked as %s; list the parked events to see what is", id).With("id", id)
}
