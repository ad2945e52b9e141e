// Package shelf is what a service's state keeps of things that are finished:
// which of them still stand in the state and since when nothing has happened to
// them, and in which commit of the log the others are archived. That is four
// bytes for each; everything else of them is in the log alone.
package shelf

import (
	"cmp"
	"encoding/binary"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/sitelog"
)

// Rest is how long nothing must have happened to a finished thing before it is
// archived: what other services still have to tell of it has come by then, and
// most of what people still want of it.
const Rest = 24 * time.Hour

// One commit archives so many things at most, and no more once their records
// take so many bytes; the next follows after a pause.
const (
	atOnce      = 8
	enoughBytes = 64 << 10
	Pause       = time.Second
)

// pageSize numbers share a page. Numbers are given without gaps, so pages are full.
const pageSize = 256

// Number is the number that a thing's name ends with, as in jobs/17; 0: it ends otherwise.
func Number(name string) uint64 {
	_, digits, _ := strings.Cut(name, "/")
	n, err := strconv.ParseUint(digits, 10, 64)
	if err != nil {
		return 0
	}
	return n
}

// Shelf is keyed by the number that a thing's name ends with, as in jobs/17. The
// zero value is an empty shelf.
type Shelf struct {
	resting map[uint64]time.Time
	next    time.Time // the earliest of resting
	last    time.Time // something was filed
	pages   map[uint64]*[pageSize]uint32
	filed   int
}

// Settle notes that a thing is finished and that something happened to it now.
func (s *Shelf) Settle(number uint64, at time.Time) {
	if s.resting == nil {
		s.resting = map[uint64]time.Time{}
	}
	s.forget(number)
	if len(s.resting) == 0 || at.Before(s.next) {
		s.next = at
	}
	s.resting[number] = at
}

// Stay takes a thing off the shelf: it is not finished any more, or too large to leave.
func (s *Shelf) Stay(number uint64) { s.forget(number) }

// forget removes a resting thing.
func (s *Shelf) forget(number uint64) {
	at, ok := s.resting[number]
	if !ok {
		return
	}
	delete(s.resting, number)
	if !at.Equal(s.next) {
		return
	}
	s.next = time.Time{}
	for _, at := range s.resting {
		if s.next.IsZero() || at.Before(s.next) {
			s.next = at
		}
	}
}

// File notes that a thing has left the state with a commit, which has no time if
// it only was shown and goes back.
func (s *Shelf) File(number, commit uint64, at time.Time) {
	s.forget(number)
	if at.After(s.last) {
		s.last = at
	}
	if commit == 0 || commit > math.MaxUint32 {
		panic("a site's log has four billion commits at most")
	}
	if s.pages == nil {
		s.pages = map[uint64]*[pageSize]uint32{}
	}
	page := s.pages[number/pageSize]
	if page == nil {
		page = &[pageSize]uint32{}
		s.pages[number/pageSize] = page
	}
	if page[number%pageSize] == 0 {
		s.filed++
	}
	page[number%pageSize] = uint32(commit)
}

// Recall notes that an archived thing is in the state again, finished as before.
func (s *Shelf) Recall(number uint64, at time.Time) {
	if page := s.pages[number/pageSize]; page != nil && page[number%pageSize] != 0 {
		page[number%pageSize] = 0
		s.filed--
		if *page == [pageSize]uint32{} {
			delete(s.pages, number/pageSize)
		}
	}
	s.Settle(number, at)
}

// Rests tells whether a thing is finished and still in the state.
func (s *Shelf) Rests(number uint64) bool {
	_, ok := s.resting[number]
	return ok
}

// Filed gives the commit that archived a thing; 0: it is not archived.
func (s *Shelf) Filed(number uint64) uint64 {
	if page := s.pages[number/pageSize]; page != nil {
		return uint64(page[number%pageSize])
	}
	return 0
}

// Find gives the error that brings an archived thing back; nil if it is not archived.
func (s *Shelf) Find(number uint64, name string) *sitelog.ArchivedError {
	if commit := s.Filed(number); commit != 0 {
		return &sitelog.ArchivedError{Name: name, Commit: commit}
	}
	return nil
}

// Len counts the things that are archived, and those that rest in the state.
func (s *Shelf) Len() (filed, resting int) { return s.filed, len(s.resting) }

// Equal tells whether two shelves hold the same.
func (s Shelf) Equal(other Shelf) bool {
	return s.last.Equal(other.last) && maps.EqualFunc(s.resting, other.resting, time.Time.Equal) &&
		maps.EqualFunc(s.pages, other.pages, func(a, b *[pageSize]uint32) bool { return *a == *b })
}

// All gives the numbers of everything that is archived, in order.
func (s *Shelf) All() []uint64 {
	numbers := make([]uint64, 0, s.filed)
	for _, p := range slices.Sorted(maps.Keys(s.pages)) {
		for i, commit := range s.pages[p] {
			if commit != 0 {
				numbers = append(numbers, p*pageSize+uint64(i))
			}
		}
	}
	return numbers
}

// Due gives the time at which the next thing may leave.
func (s *Shelf) Due() (time.Time, bool) {
	due := s.next.Add(Rest)
	if paced := s.last.Add(Pause); paced.After(due) {
		due = paced
	}
	return due, len(s.resting) > 0
}

// Due gives the time at which the next thing of any of several shelves may leave,
// and not before a pause after the last that left.
func Due(shelves ...*Shelf) (earliest time.Time, pending bool) {
	var last time.Time
	for _, on := range shelves {
		if at, ok := on.Due(); ok && (!pending || at.Before(earliest)) {
			earliest, pending = at, true
		}
		if on.last.After(last) {
			last = on.last
		}
	}
	if paced := last.Add(Pause); paced.After(earliest) {
		earliest = paced
	}
	return earliest, pending
}

// Archive gives the events by which things leave that may leave now.
func (s *Shelf) Archive(now time.Time, name func(number uint64) string, record func(number uint64) proto.Message) ([]proto.Message, error) {
	var events []proto.Message
	size := 0
	for _, number := range s.Ripe(now) {
		event, err := sitelog.Archive(name(number), record(number))
		if err != nil {
			return nil, err
		}
		events = append(events, event)
		if size += len(event.GetRecord()); size > enoughBytes {
			break
		}
	}
	return events, nil
}

// Ripe gives the things that may leave now, those first that rest longest, and
// few of them: their records share one commit.
func (s *Shelf) Ripe(now time.Time) []uint64 {
	var ripe []uint64
	for number, at := range s.resting {
		if !at.Add(Rest).After(now) {
			ripe = append(ripe, number)
		}
	}
	slices.SortFunc(ripe, func(a, b uint64) int {
		return cmp.Or(s.resting[a].Compare(s.resting[b]), cmp.Compare(a, b))
	})
	return ripe[:min(len(ripe), atOnce)]
}

// Kept is a shelf as a snapshot holds it.
type Kept struct {
	Last    time.Time
	Resting map[uint64]time.Time
	Pages   map[uint64][]byte
}

// Keep copies the shelf.
func (s *Shelf) Keep() Kept {
	// Both maps are always made, so that equal shelves have equal bytes.
	k := Kept{Last: s.last, Resting: make(map[uint64]time.Time, len(s.resting)), Pages: make(map[uint64][]byte, len(s.pages))}
	maps.Copy(k.Resting, s.resting)
	for number, page := range s.pages {
		packed := make([]byte, 0, 4*pageSize)
		for _, commit := range page {
			packed = binary.LittleEndian.AppendUint32(packed, commit)
		}
		k.Pages[number] = packed
	}
	return k
}

// Shelf gives the shelf back.
func (k Kept) Shelf() Shelf {
	s := Shelf{last: k.Last}
	for number, at := range k.Resting {
		s.Settle(number, at)
	}
	for number, packed := range k.Pages {
		for i := 0; i+4 <= len(packed); i += 4 {
			if commit := binary.LittleEndian.Uint32(packed[i:]); commit != 0 {
				s.File(number*pageSize+uint64(i/4), uint64(commit), time.Time{})
			}
		}
	}
	return s
}
