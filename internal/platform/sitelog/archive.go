package sitelog

import (
	"bytes"
	"compress/flate"
	"context"
	"errors"
	"fmt"
	"io"

	"google.golang.org/protobuf/proto"

	logv1 "ramprow/proto/ramprow/log/v1"
)

// ArchivedError is the error of a decision, a reaction, a Fire or a view that needs
// something which has left the state for the archive. The writer reads its
// record from the log, shows a state that has it again, and asks anew; if that
// brings anything about, the thing is back in the state with the same commit.
type ArchivedError struct {
	Name   string
	Commit uint64 // number of the commit that archived it
}

func (f *ArchivedError) Error() string {
	return fmt.Sprintf("%s is archived in commit %d", f.Name, f.Commit)
}

// maxRecord bounds the record of one archived thing, compressed: below what a
// commit may hold, with room for others beside it.
const maxRecord = DefaultMaxCommitBytes / 2

// Archive gives the event by which something leaves the state.
func Archive(name string, record proto.Message) (*logv1.Archived, error) {
	plain, err := proto.MarshalOptions{Deterministic: true}.Marshal(record)
	if err != nil {
		return nil, fmt.Errorf("archive %s: %w", name, err)
	}
	var packed bytes.Buffer
	packer, err := flate.NewWriter(&packed, flate.DefaultCompression)
	if err != nil {
		return nil, err
	}
	if _, err := packer.Write(plain); err != nil {
		return nil, err
	}
	if err := packer.Close(); err != nil {
		return nil, err
	}
	if packed.Len() > maxRecord {
		return &logv1.Archived{Name: name, Stays: true}, nil
	}
	return &logv1.Archived{Name: name, Record: packed.Bytes()}, nil
}

// Unpack reads the record of an Archived or Recalled event. It panics if that
// cannot be: the log would be damaged, or of a later program.
func Unpack(packed []byte, record proto.Message) {
	plain, err := io.ReadAll(flate.NewReader(bytes.NewReader(packed)))
	if err == nil {
		err = proto.Unmarshal(plain, record)
	}
	if err != nil {
		panic(fmt.Sprintf("an archived record cannot be read: %v", err))
	}
}

// FromArchive reads the event that brings something archived back. known is the
// chain up to any later commit.
func FromArchive(ctx context.Context, log Log, known Chain, f *ArchivedError) (*logv1.Recalled, error) {
	r, err := recordOf(ctx, log, known, f.Commit)
	if err != nil {
		return nil, err
	}
	events, err := EventsOf(r)
	if err != nil {
		return nil, damaged(known.Subject, r.Sequence, "%v", err)
	}
	for _, e := range events {
		if a, ok := e.Message.(*logv1.Archived); ok && a.GetName() == f.Name && !a.GetStays() {
			return &logv1.Recalled{Name: f.Name, Commit: f.Commit, Record: a.GetRecord()}, nil
		}
	}
	return nil, damaged(known.Subject, r.Sequence, "commit %d does not hold %s, which was archived in it", f.Commit, f.Name)
}

// Undo gives the event that takes a thing away again which was only brought back
// to be looked at.
func Undo(f *ArchivedError, site string) Event {
	return Event{Message: &logv1.Archived{Name: f.Name}, Site: site, Number: f.Commit}
}

// recordOf finds a commit by its number. Sequences grow at least as fast as
// numbers, and evenly if the sites of a stream are alike: so the place is
// guessed from what is known on both sides of it.
func recordOf(ctx context.Context, log Log, known Chain, number uint64) (Record, error) {
	low, high := place{}, place{known.Number, known.Sequence}
	if number == 0 || number > high.number {
		return Record{}, damaged(known.Subject, known.Sequence, "there is no commit %d yet", number)
	}
	for probe := 0; low.sequence < high.sequence; probe++ {
		guess := low.towards(high, number, probe)
		r, err := firstAfter(ctx, log, known.Subject, guess-1)
		if err != nil {
			return Record{}, err
		}
		commit, err := DecodeCommit(r.Data)
		if err != nil {
			return Record{}, damaged(known.Subject, guess, "%v", err)
		}
		switch found := commit.GetNumber(); {
		case found == number:
			return r, nil
		case found < number:
			low = place{found, r.Sequence}
		default:
			high = place{found, guess - 1}
		}
	}
	return Record{}, damaged(known.Subject, low.sequence, "commit %d is not there", number)
}

// place is a commit by its number, and a sequence: its own, or on the far side
// of a search the last one at which the commit searched for can be.
type place struct{ number, sequence uint64 }

// towards guesses the sequence of a number between two places: as if the site
// were alone in the stream, then in turn in proportion and in the middle, so
// that no distribution makes it slow.
func (p place) towards(far place, number uint64, probe int) uint64 {
	span, step := far.sequence-p.sequence, number-p.number
	switch {
	case probe > 0 && probe%2 == 0:
		step = span / 2
	case probe > 0:
		step = uint64(float64(span) * float64(number-p.number) / float64(far.number-p.number))
	}
	return p.sequence + min(max(step, 1), span)
}

// recalling asks fn, and asks it again with what it turns out to need brought
// back from the archive. The state is afterwards as it was before; recalled must
// come before the events that fn decided on.
func (w *writer[S]) recalling(fn func() error) (recalled []proto.Message, err error) {
	var undo []Event
	defer func() {
		for i := len(undo) - 1; i >= 0; i-- {
			if failure := guarded(func() error { w.machine.Evolve(w.state, undo[i]); return nil }); failure != nil {
				w.spoiled = true
				err = errors.Join(err, failure)
			}
		}
	}()
	for {
		err = guarded(fn)
		filed, ok := errors.AsType[*ArchivedError](err)
		if !ok || len(undo) == maxRecalls {
			return recalled, err
		}
		var back *logv1.Recalled
		if back = w.archiving(filed); back == nil {
			if err := w.persist(func() (err error) {
				back, err = FromArchive(w.ctx, w.log, w.chain, filed)
				return err
			}); err != nil {
				return nil, outward(w.subject, err)
			}
		}
		frame := Event{Message: back, Site: w.subject.Site, Number: w.nextNumber(), Time: w.batch.time}
		if err := guarded(func() error { w.machine.Evolve(w.state, frame); return nil }); err != nil {
			w.spoiled = true
			return nil, err
		}
		undo = append(undo, Undo(filed, w.subject.Site))
		recalled = append(recalled, back)
	}
}

// archiving finds what is archived by a commit that is not on disk yet.
func (w *writer[S]) archiving(f *ArchivedError) *logv1.Recalled {
	entries := w.batch.entries
	if w.flight != nil {
		entries = append(entries[:len(entries):len(entries)], w.flight.entries...)
	}
	for _, entry := range entries {
		for _, packed := range entry.GetEvents() {
			var a logv1.Archived
			if packed.MessageIs(&a) && packed.UnmarshalTo(&a) == nil && a.GetName() == f.Name && !a.GetStays() {
				return &logv1.Recalled{Name: f.Name, Commit: f.Commit, Record: a.GetRecord()}
			}
		}
	}
	return nil
}

// maxRecalls bounds what one decision may need from the archive.
const maxRecalls = 8

// fillWith is fill with what was recalled before the events, if there are any.
func (d *draft) fillWith(recalled []proto.Message) error {
	if len(recalled) == 0 || d.entry == nil || len(d.messages) == 0 {
		return nil
	}
	return d.fill(append(recalled, d.messages...))
}
