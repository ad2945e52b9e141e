package catalogue

import (
	"fmt"
	"slices"
	"strings"

	pb "ramprow/proto/ramprow/catalogue/v1"
)

// outcome is what can come off and be reached on one kind of car: the least set
// that is closed under 'whatever has its needs met can be done'. Nothing ever
// has to be put back to go on, so the order does not matter and the set is
// unique.
type outcome struct {
	c          *Catalogue
	car        combination
	off        map[string]bool // pieces that can come off
	reached    map[string]bool // pieces that can be reached
	enterable  map[string]bool // states that can be entered
	achievable map[string]bool // operations that can be done
}

// outcomes works it out for every combination of the features that teardown
// depends on; nil when there are too many combinations.
func (c *Catalogue) outcomes() []*outcome {
	cars, ok := c.combinations(c.teardownFeatures())
	if !ok {
		return nil
	}
	all := make([]*outcome, len(cars))
	for i, car := range cars {
		all[i] = &outcome{
			c: c, car: car,
			off: map[string]bool{}, reached: map[string]bool{}, enterable: map[string]bool{}, achievable: map[string]bool{},
		}
		for all[i].step() {
		}
	}
	return all
}

func (c *Catalogue) teardownFeatures() map[string]bool {
	var lists [][]*pb.Condition
	for _, piece := range c.message.GetPieces() {
		lists = append(lists, piece.GetWhen())
		for _, blocking := range piece.GetBlockedBy() {
			lists = append(lists, blocking.GetWhen())
		}
	}
	for _, operation := range c.message.GetOperations() {
		lists = append(lists, operation.GetWhen())
	}
	for _, cause := range c.message.GetCauses() {
		lists = append(lists, cause.GetWhen())
	}
	return featuresOf(lists...)
}

// step does whatever can be done now and was not done before.
func (o *outcome) step() (changed bool) {
	for _, state := range o.c.message.GetStates() {
		if !o.enterable[state.GetId()] && o.stateWaitsFor(state) == "" {
			o.enterable[state.GetId()] = true
			changed = true
		}
	}
	for _, operation := range o.c.message.GetOperations() {
		if o.achievable[operation.GetId()] || o.waitsFor(operation) != "" || !o.available(operation) {
			continue
		}
		o.achievable[operation.GetId()] = true
		for _, id := range operation.GetTakesOff() {
			o.off[id] = true
		}
		for _, id := range operation.GetReaches() {
			o.reached[id] = true
		}
		changed = true
	}
	return changed
}

// available reports whether a way exists on such a car: its conditions hold and
// the car has at least one of the pieces that it is about.
func (o *outcome) available(operation *pb.Operation) bool {
	if !o.car.meets(operation.GetWhen()) {
		return false
	}
	return slices.ContainsFunc(operation.GetTakesOff(), o.present) || slices.ContainsFunc(operation.GetReaches(), o.present)
}

// present reports whether such a car has the piece. An unknown piece is no
// piece; the rule about unknown ones says so.
func (o *outcome) present(id string) bool {
	piece := o.c.pieces[id]
	return piece != nil && o.car.meets(piece.GetWhen())
}

// gone reports whether a piece can be off, or was never there.
func (o *outcome) gone(id string) bool { return o.off[id] || !o.present(id) }

// Needs are named with their kind, as in piece:valve-cover or state:timing-locked.
const (
	needsPiece = "piece:"
	needsState = "state:"
)

// waitsFor gives the first unmet need of an operation, or "".
func (o *outcome) waitsFor(operation *pb.Operation) string {
	for _, id := range operation.GetNeedsOff() {
		if !o.gone(id) {
			return needsPiece + id
		}
	}
	for _, id := range operation.GetNeedsReached() {
		if !o.gone(id) && !o.reached[id] {
			return needsPiece + id
		}
	}
	for _, id := range operation.GetNeedsStates() {
		if o.c.states[id] != nil && !o.enterable[id] {
			return needsState + id
		}
	}
	for _, id := range operation.GetTakesOff() {
		if need := o.blockedBy(id, operation); need != "" {
			return need
		}
	}
	return ""
}

// blockedBy gives what keeps a piece from coming off in an operation, or "".
// Whatever comes off in the same operation does not block: one assembly.
func (o *outcome) blockedBy(id string, operation *pb.Operation) string {
	piece := o.c.pieces[id]
	if piece == nil || !o.present(id) {
		return ""
	}
	for _, blocking := range piece.GetBlockedBy() {
		if !o.car.meets(blocking.GetWhen()) || len(blocking.GetAnyOf()) == 0 {
			continue
		}
		free := func(other string) bool {
			return o.gone(other) || other != id && slices.Contains(operation.GetTakesOff(), other)
		}
		if !slices.ContainsFunc(blocking.GetAnyOf(), free) {
			return needsPiece + blocking.GetAnyOf()[0]
		}
	}
	return ""
}

// stateWaitsFor gives the first unmet need of a state, or "".
func (o *outcome) stateWaitsFor(state *pb.State) string {
	for _, id := range state.GetNeedsStates() {
		if o.c.states[id] != nil && !o.enterable[id] {
			return needsState + id
		}
	}
	for _, id := range state.GetNeedsOff() {
		if !o.gone(id) {
			return needsPiece + id
		}
	}
	return ""
}

// next follows a stuck need one step: to what it waits for, or "" at the root.
func (o *outcome) next(need string) string {
	if id, ok := strings.CutPrefix(need, needsState); ok {
		return o.stateWaitsFor(o.c.states[id])
	}
	id := strings.TrimPrefix(need, needsPiece)
	for _, operation := range o.c.message.GetOperations() {
		about := slices.Contains(operation.GetTakesOff(), id) || slices.Contains(operation.GetReaches(), id)
		if about && !o.achievable[operation.GetId()] && o.available(operation) {
			return o.waitsFor(operation)
		}
	}
	return ""
}

// chain follows a stuck need to its root. If the chain bites its own tail it
// gives the cycle instead, from and to the same need.
func (o *outcome) chain(need string) (chain []string, cycle bool) {
	for need != "" {
		if at := slices.Index(chain, need); at >= 0 {
			return append(chain[at:], need), true
		}
		chain = append(chain, need)
		need = o.next(need)
	}
	return chain, false
}

// arrows writes a chain as a ← b ← c: a waits for b, b waits for c.
func arrows(chain []string) string {
	names := make([]string, len(chain))
	for i, need := range chain {
		names[i] = strings.TrimPrefix(need, needsPiece)
		if id, ok := strings.CutPrefix(need, needsState); ok {
			names[i] = fmt.Sprintf("state %s", id)
		}
	}
	return strings.Join(names, " ← ")
}
