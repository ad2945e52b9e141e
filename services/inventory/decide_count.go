package inventory

import (
	"cmp"
	"fmt"
	"slices"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// A difference is large, so that another person counts as well, if it is worth
// secondCountValue; or if it is a quarter of what the book says and five units at
// least, and is worth trifleValue or nobody knows what it is worth. Values are in
// minor units. Common practice, no source.
const (
	secondCountValue = 10_000
	trifleValue      = 2_000
	largeShare       = 4 // one part in so many
	fewUnits         = 5
)

// countShelf sets what is on hand to what was counted. A difference needs a
// cause, and a large one is booked once a second person has found the same.
func countShelf(st *State, in sitelog.Input, req *inventoryv1.CountShelfRequest) ([]proto.Message, *inventoryv1.CountShelfResponse, error) {
	p := st.parts[req.GetPart()]
	if p == nil {
		return nil, nil, noPart(req.GetPart())
	}
	if req.GetCounted() < p.held {
		return nil, nil, heldForJobs("COUNT_BELOW_HELD", p, fmt.Sprintf("%d were counted", req.GetCounted()))
	}
	difference := req.GetCounted() - p.onHand
	d := newDraft(st, in)
	if difference == 0 {
		return countAgrees(d, p)
	}
	asked := p.question
	confirmed := asked != nil && !asked.GetBooked() && asked.GetBy() != in.Actor.Person && asked.GetDifference() == difference
	cause, note := req.GetCause(), req.GetReason()
	if confirmed && cause == inventoryv1.CountCause_COUNT_CAUSE_UNSPECIFIED {
		cause, note = asked.GetCause(), asked.GetNote()
	}
	if cause == inventoryv1.CountCause_COUNT_CAUSE_UNSPECIFIED {
		return nil, nil, fault.New(fault.Precondition, "COUNT_UNEXPLAINED",
			"%d were counted and the book says %d; count again, and say why it differs: mislaid, not-entered, wrong-entry, spoiled, miscounted, unknown or other",
			req.GetCounted(), p.onHand).
			With("part", req.GetPart()).With("on_hand", fmt.Sprint(p.onHand)).WithField("cause", "must be given, since the shelf differs").
			About("Part", partName(req.GetPart()))
	}
	if err := explained(cause, note, "reason"); err != nil {
		return nil, nil, err
	}
	if p.large(difference) && !confirmed {
		question := questionOf(p, finding{in: in, difference: difference, cause: cause, note: note})
		return []proto.Message{&inventoryv1.CountAsked{Question: question}},
			&inventoryv1.CountShelfResponse{Part: d.part(req.GetPart()), Question: question}, nil
	}
	c := change{
		part: req.GetPart(), kind: inventoryv1.MovementKind_MOVEMENT_KIND_COUNTED, quantity: difference,
		reference: "count", note: note, cause: cause,
	}
	if confirmed {
		c.secondBy = asked.GetBy()
	}
	if err := d.move(c); err != nil {
		return nil, nil, err
	}
	d.settleQuestion(p)
	events := d.finish()
	return events, &inventoryv1.CountShelfResponse{Part: d.part(req.GetPart())}, nil
}

// countAgrees ends a question by a count that agrees with the book. Where another
// person is asked, it takes another person.
func countAgrees(d *draft, p *part) ([]proto.Message, *inventoryv1.CountShelfResponse, error) {
	resp := &inventoryv1.CountShelfResponse{Part: d.part(p.about.GetNumber())}
	if q := p.question; q.GetBooked() && q.GetByAnother() && q.GetBy() == d.in.Actor.Person {
		return nil, nil, fault.New(fault.Precondition, "COUNT_BY_ANOTHER",
			"%s found the difference, so somebody else has to count %s", q.GetBy(), q.GetPart()).
			With("part", q.GetPart()).About("Part", partName(q.GetPart()))
	}
	d.settleQuestion(p)
	return d.finish(), resp, nil
}

func (d *draft) settleQuestion(p *part) {
	if p.question != nil {
		d.last = append(d.last, &inventoryv1.CountSettled{Part: p.about.GetNumber(), By: d.in.Actor.Person})
	}
}

// explained refuses a cause that says nothing without words.
func explained(cause inventoryv1.CountCause, words, field string) error {
	if cause != inventoryv1.CountCause_COUNT_CAUSE_OTHER || words != "" {
		return nil
	}
	return fault.New(fault.Invalid, "CAUSE_WITHOUT_WORDS", "another cause has to be told in words; write what happened").
		WithField(field, "must say what the other cause is")
}

// large tells whether a difference takes a second count.
func (p *part) large(difference int64) bool {
	size := max(difference, -difference)
	worth := costOf(p.about, size)
	if worth.GetMinorUnits() >= secondCountValue {
		return true
	}
	return size >= fewUnits && size >= (p.onHand+largeShare-1)/largeShare && (worth == nil || worth.GetMinorUnits() >= trifleValue)
}

// finding is a difference that somebody found.
type finding struct {
	in         sitelog.Input
	difference int64
	cause      inventoryv1.CountCause
	note       string
	booked     bool
	job        string
}

func questionOf(p *part, f finding) *inventoryv1.CountQuestion {
	return &inventoryv1.CountQuestion{
		Part: p.about.GetNumber(), Title: p.about.GetTitle(), Bin: p.about.GetBin(), Difference: f.difference, Cause: f.cause, Note: f.note,
		By: f.in.Actor.Person, At: timestamppb.New(f.in.Now), Booked: f.booked, ByAnother: !f.booked || p.large(f.difference), Job: f.job,
	}
}

// questionsOpen lists what is to be counted, the oldest question first.
func (st *State) questionsOpen() []*inventoryv1.CountQuestion {
	var open []*inventoryv1.CountQuestion
	for _, p := range st.parts {
		if p.question != nil {
			open = append(open, p.question)
		}
	}
	slices.SortFunc(open, func(a, b *inventoryv1.CountQuestion) int {
		return cmp.Or(a.GetAt().AsTime().Compare(b.GetAt().AsTime()), cmp.Compare(a.GetPart(), b.GetPart()))
	})
	return open
}
