package inventory

import (
	"fmt"
	"strings"
	"time"

	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// whyOfShelf says what differs between a part's bin and the book, as far as
// somebody found it: pieces off their bin, the newest difference of a count, and
// what is asked.
func (p *part) whyOfShelf() []string {
	var why []string
	if p.picked > 0 {
		why = append(why, fmt.Sprintf("%d picked: held, and off their bin", p.picked))
	}
	if p.stray > 0 {
		why = append(why, fmt.Sprintf("%d to put back: picked, and not wanted any more", p.stray))
	}
	if m := p.counted; m != nil {
		by := m.GetBy()
		if m.GetSecondBy() != "" {
			by = m.GetSecondBy() + " and " + by
		}
		line := fmt.Sprintf("last difference: %+d on %s, found by %s", m.GetQuantity(), m.GetAt().AsTime().Format(time.DateOnly), by)
		if strings.HasPrefix(m.GetReference(), "jobs/") {
			line += " picking for " + m.GetReference()
		}
		why = append(why, line+because(m.GetCause(), m.GetNote()))
	}
	if q := p.question; q != nil {
		why = append(why, askedLine(q))
	}
	return why
}

func askedLine(q *inventoryv1.CountQuestion) string {
	who := "somebody counts it"
	if q.GetByAnother() {
		who = "somebody other than " + q.GetBy() + " counts it"
	}
	if q.GetBooked() {
		return fmt.Sprintf("asked: %s, since %+d was found and booked on %s", who, q.GetDifference(), q.GetAt().AsTime().Format(time.DateOnly))
	}
	return fmt.Sprintf("asked: %s, since %+d was found on %s and is not booked yet%s",
		who, q.GetDifference(), q.GetAt().AsTime().Format(time.DateOnly), because(q.GetCause(), q.GetNote()))
}

// spoken is a value's name as people say it.
func spoken(name, prefix string) string {
	return strings.ReplaceAll(strings.ToLower(strings.TrimPrefix(name, prefix)), "_", " ")
}

// because gives a cause in words; differences from before causes were asked for
// have none.
func because(cause inventoryv1.CountCause, note string) string {
	var words []string
	if cause != inventoryv1.CountCause_COUNT_CAUSE_UNSPECIFIED {
		words = append(words, spoken(cause.String(), "COUNT_CAUSE_"))
	}
	if note != "" {
		words = append(words, note)
	}
	if len(words) == 0 {
		return ""
	}
	return ": " + strings.Join(words, ", ")
}
