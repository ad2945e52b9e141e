package inventory

import (
	"errors"
	"fmt"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/sitelog"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// maxQuantity bounds the quantity of one line, as the protos do.
const maxQuantity = 1_000_000_000

// wish is what a job's plan wants from the shelf.
type wish struct {
	job      string
	plan     *jobv1.Plan
	priority uint32
}

// holdPlan makes a job's hold follow its plan: new lines are held, lines that
// fell away are released, and what was issued stays issued.
func holdPlan(st *State, in sitelog.Input, w wish) ([]proto.Message, error) {
	if err := checkWish(st, w); err != nil {
		return nil, err
	}
	if h := st.holds[w.job]; h != nil && w.plan.GetRevision() < h.doc.GetPlanRevision() {
		return nil, nil
	}
	listed := listWanted(st, w)
	if len(listed) > 0 {
		// The draft reads parts from the state, and this one is not there yet. It
		// is rare: a catalogue lists its parts before any plan wants them.
		st = st.with(listed)
	}
	d := newDraft(st, in)
	d.follow(w)
	return append(listed, d.finish()...), nil
}

func checkWish(st *State, w wish) error {
	if err := checkJob(w.job); err != nil {
		return err
	}
	if w.plan == nil {
		return errors.New("the event carries no plan")
	}
	seen := map[string]bool{}
	for _, l := range w.plan.GetParts() {
		switch p := st.parts[l.GetPart()]; {
		case l.GetLine() == "" || seen[l.GetLine()]:
			return fmt.Errorf("the plan's part line %q is unnamed or there twice", l.GetLine())
		case l.GetPart() == "":
			return fmt.Errorf("line %s names no part", l.GetLine())
		case l.GetQuantity() < 1 || l.GetQuantity() > maxQuantity:
			return fmt.Errorf("line %s wants %d of %s; a quantity lies between 1 and %d", l.GetLine(), l.GetQuantity(), l.GetPart(), maxQuantity)
		case p != nil && p.about.GetUnit() != l.GetUnit():
			return fmt.Errorf("line %s wants %s in %s, but it is kept in %s: correct the part's unit, then release this event",
				l.GetLine(), l.GetPart(), l.GetUnit(), p.about.GetUnit())
		}
		seen[l.GetLine()] = true
	}
	return nil
}

// listWanted lists parts that a plan wants and nobody has told of.
func listWanted(st *State, w wish) []proto.Message {
	var listed []proto.Message
	known := map[string]bool{}
	for _, l := range w.plan.GetParts() {
		if st.parts[l.GetPart()] != nil || known[l.GetPart()] {
			continue
		}
		known[l.GetPart()] = true
		listed = append(listed, &inventoryv1.PartListed{
			Part:   &inventoryv1.Part{Name: partName(l.GetPart()), Number: l.GetPart(), Title: l.GetTitle(), Unit: l.GetUnit(), UsedOnce: l.GetUsedOnce()},
			Source: w.job,
		})
	}
	return listed
}

// with gives the state with more parts; everything else is shared.
func (st *State) with(listed []proto.Message) *State {
	more := *st
	more.parts = make(map[string]*part, len(st.parts)+len(listed))
	for number, p := range st.parts {
		more.parts[number] = p
	}
	for _, m := range listed {
		if l, is := m.(*inventoryv1.PartListed); is {
			more.list(l.GetPart())
		}
	}
	return &more
}

// follow turns the hold's lines into the plan's.
func (d *draft) follow(w wish) {
	doc := d.begin(w.job, w.priority)
	before := map[string]*inventoryv1.HoldLine{}
	own := map[string]int64{} // what the job had of each part: it keeps that first
	for _, l := range doc.GetLines() {
		before[l.GetLine()] = l
		own[l.GetPart()] += l.GetHeld()
		d.free(l)
	}
	doc.Lines = d.lines(w, before, doc.GetLines())
	for _, l := range doc.GetLines() {
		if !open(l) {
			continue
		}
		kept := min(own[l.GetPart()], lacking(l))
		own[l.GetPart()] -= kept
		d.take(l, kept)
		place(l)
		d.touch(l.GetPart())
	}
	doc.PlanRevision = w.plan.GetRevision()
	doc.State = inventoryv1.HoldState_HOLD_STATE_UNSPECIFIED
	doc.ExpiresAt = nil // a revision gives the hold a new life
	d.tell(w.job, held)
}

// lines gives the hold's new lines: the plan's, then what else is at the car or
// was given up.
func (d *draft) lines(w wish, before map[string]*inventoryv1.HoldLine, old []*inventoryv1.HoldLine) []*inventoryv1.HoldLine {
	var lines []*inventoryv1.HoldLine
	replaced := map[string]bool{}
	for _, p := range w.plan.GetParts() {
		was := before[p.GetLine()]
		if was != nil && !d.stands(was.GetPart(), p.GetPart()) {
			was = nil // same line, other part: the old one ends below
		}
		if was != nil {
			replaced[p.GetLine()] = true
		}
		lines = append(lines, d.line(p, was))
	}
	for _, l := range old {
		if replaced[l.GetLine()] {
			continue
		}
		// A line that had been given up before has been told of once; it goes.
		if l.GetState() == lineReleased && l.GetIssued() == 0 && l.GetPicked()+l.GetStray() == 0 {
			continue
		}
		if open(l) && !l.GetExtra() {
			letGo(l)
		}
		if taken(lines, l.GetLine()) {
			l.Line = fmt.Sprintf("%s.before-%d", l.GetLine(), w.plan.GetRevision())
		}
		lines = append(lines, l)
	}
	return lines
}

func taken(lines []*inventoryv1.HoldLine, name string) bool {
	for _, l := range lines {
		if l.GetLine() == name {
			return true
		}
	}
	return false
}

// line is a plan's line as the hold keeps it; was is the same line before, or nil.
func (d *draft) line(p *jobv1.PartWanted, was *inventoryv1.HoldLine) *inventoryv1.HoldLine {
	number := was.GetPart()
	if was == nil {
		number = d.substitute(p.GetPart())
	}
	about := d.st.parts[number].about
	l := &inventoryv1.HoldLine{
		Line:     p.GetLine(),
		Part:     number,
		Title:    p.GetTitle(),
		Quantity: max(p.GetQuantity(), out(was)), // a plan takes nothing back from the car
		Unit:     p.GetUnit(),
		State:    lineShort,
		Feature:  p.GetFeature(),
		Value:    p.GetValue(),
		Bin:      about.GetBin(),
		Issued:   was.GetIssued(),
		Returned: was.GetReturned(),
		ForStep:  p.GetForStep(),
		Picked:   was.GetPicked(),
		Stray:    was.GetStray(),

		Probability: p.GetProbability(),
		Failed:      was.GetFailed(),
		OldUnits:    was.GetOldUnits(),
	}
	if number != p.GetPart() {
		l.Title = fmt.Sprintf("%s (replaces %s)", about.GetTitle(), p.GetPart())
	}
	// Brought back means not needed, unless the plan now wants another amount.
	if was.GetState() == lineReturned && was.GetQuantity() == l.GetQuantity() {
		l.State = lineReturned
	}
	return l
}

// substitute gives the newest successor of a part that is superseded and of
// which nothing is free, if it is kept in the same unit; else the part itself.
func (d *draft) substitute(number string) string {
	if s := d.stock(number); s.onHand > s.held {
		return number
	}
	newest := d.st.newest(number)
	if d.st.parts[newest].about.GetUnit() != d.st.parts[number].about.GetUnit() {
		return number
	}
	return newest
}

// stands tells whether a part serves where another is wanted: it is the same or
// one of its successors.
func (d *draft) stands(has, wanted string) bool {
	for _, number := range d.st.chain(wanted) {
		if number == has {
			return true
		}
	}
	return false
}

// chain lists a part and its listed successors, the oldest first. A circle, which
// only a bad catalogue can bring, ends where it closes.
func (st *State) chain(number string) []string {
	chain := []string{number}
	seen := map[string]bool{number: true}
	for {
		next, superseded := st.successors[chain[len(chain)-1]]
		if !superseded || seen[next] || st.parts[next] == nil {
			return chain
		}
		seen[next] = true
		chain = append(chain, next)
	}
}

func (st *State) newest(number string) string {
	chain := st.chain(number)
	return chain[len(chain)-1]
}
