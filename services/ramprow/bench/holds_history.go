package bench

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/anishathalye/porcupine"

	"ramprow/internal/platform/fault"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// take is a quantity of each part, by its number in the fight.
type take [mostParts]int64

// operation is one call with its answer, or the end of a hold by itself, within
// the time in which it must have happened. Times are nanoseconds since the start.
type operation struct {
	kind     opKind
	called   int64
	answered int64
	pieces   take // asked for, freed, issued or received; of a count: what was counted
	after    []figure
	short    []int // of a refusal: the parts that were too few
	// key names what it left in the log: the request, or the job whose hold expired.
	key string
	// rank is its place among those that left something there, from 1; 0: it left
	// nothing. The order that is looked for must agree with the log's, which asks for
	// more than any order would and is found in reasonable time.
	rank int
}

type opKind int

const (
	opHold opKind = iota
	opRefused
	opFreed
	opIssued
	opReceived
	opCounted
	opCountRefused
)

// figure is what an answer says of one part.
type figure struct {
	part         int
	onHand, held int64
}

func partIndex(number string) int {
	n, err := strconv.Atoi(strings.TrimPrefix(number, "LAST-"))
	if err != nil || n < 0 || n >= mostParts {
		return 0
	}
	return n
}

func figuresOfParts(parts []*inventoryv1.Part) []figure {
	var figures []figure
	for _, p := range parts {
		figures = append(figures, figure{partIndex(p.GetNumber()), p.GetOnHand(), p.GetHeld()})
	}
	return figures
}

// shortOf reads from a refusal which parts were too few.
func shortOf(err error) []int {
	var short []int
	if f, is := errors.AsType[*fault.Error](err); is {
		for _, u := range f.Unmet {
			short = append(short, partIndex(strings.TrimPrefix(u.Subject, "parts/")))
		}
	}
	slices.Sort(short)
	return short
}

// shelfModel is the shelf as one person without haste would keep it.
type shelfModel struct {
	onHand, held take
	rank         int // of the last operation that left something in the log
}

// step says whether an operation can have its answer on this shelf, and what it
// leaves. It knows nothing of how the inventory does it.
func (s shelfModel) step(o operation, parts int) (bool, shelfModel) {
	if o.rank > 0 {
		if o.rank != s.rank+1 {
			return false, s
		}
		s.rank = o.rank
	}
	possible := true
	switch o.kind {
	case opRefused:
		possible = slices.Equal(s.lacks(o.pieces, parts), o.short)
	case opHold:
		possible = s.lacks(o.pieces, parts) == nil
		s.held.add(o.pieces, 1)
	case opFreed:
		possible = s.held.covers(o.pieces)
		s.held.add(o.pieces, -1)
	case opIssued:
		possible = s.held.covers(o.pieces)
		s.held.add(o.pieces, -1)
		s.onHand.add(o.pieces, -1)
	case opReceived:
		s.onHand.add(o.pieces, 1)
	case opCounted:
		possible = s.count(o.pieces)
	case opCountRefused:
		unchanged := s
		possible = !s.count(o.pieces)
		s = unchanged
	}
	if !possible {
		return false, s
	}
	for _, a := range o.after {
		if s.onHand[a.part] != a.onHand || s.held[a.part] != a.held {
			return false, s
		}
	}
	return true, s
}

func (t *take) add(other take, times int64) {
	for p, n := range other {
		t[p] += times * n
	}
}

func (t *take) covers(other take) bool {
	for p, n := range other {
		if t[p] < n {
			return false
		}
	}
	return true
}

// count sets what is on hand of the one part that was counted, unless more of it
// is held.
func (s *shelfModel) count(counted take) bool {
	for p, n := range counted {
		if n == 0 {
			continue
		}
		if n < s.held[p] {
			return false
		}
		s.onHand[p] = n
	}
	return true
}

// lacks lists the parts of which too little lies free.
func (s *shelfModel) lacks(wanted take, parts int) []int {
	var lacking []int
	for p := range parts {
		if wanted[p] > 0 && s.onHand[p]-s.held[p] < wanted[p] {
			lacking = append(lacking, p)
		}
	}
	return lacking
}

// linearize looks for one order of all operations, each within its own time, in
// which a shelf kept by one person gives every answer as it was given.
func linearize(history []operation, parts int, patience time.Duration) error {
	model := porcupine.Model{
		Init: func() any { return shelfModel{} },
		Step: func(state, input, _ any) (bool, any) {
			s, known := state.(shelfModel)
			o, is := input.(operation)
			if !known || !is {
				return false, state
			}
			return s.step(o, parts)
		},
		Hash: func(state any) uint64 {
			s, _ := state.(shelfModel)
			h := 14695981039346656037 ^ uint64(s.rank) //nolint:gosec // FNV-1a: any bits will do
			for p := range parts {
				h = (h ^ uint64(s.onHand[p])) * 1099511628211 //nolint:gosec // any bits will do
				h = (h ^ uint64(s.held[p])) * 1099511628211   //nolint:gosec // any bits will do
			}
			return h
		},
	}
	operations := make([]porcupine.Operation, 0, len(history))
	for i, o := range history {
		operations = append(operations, porcupine.Operation{ClientId: i, Input: o, Call: o.called, Return: max(o.called, o.answered)})
	}
	switch porcupine.CheckOperationsTimeout(model, operations, patience) {
	case porcupine.Ok:
		return nil
	case porcupine.Illegal:
		return fmt.Errorf("no order of the %d operations explains their answers: the history is not linearizable", len(history))
	default:
		return fmt.Errorf("no order of the %d operations was found within %v, and none was ruled out; allow more time", len(history), patience)
	}
}
