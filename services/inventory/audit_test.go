package inventory

import (
	"time"

	"google.golang.org/protobuf/proto"

	rest "ramprow/internal/platform/shelf"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// audit checks a site against its history by other means than the code that
// made it: every figure is summed anew from the documents.
func (s *site) audit() {
	s.t.Helper()
	onHand := s.auditMovements()
	held, wanted := s.auditHolds()
	onOrder := s.auditOrders()
	for number, p := range s.st.parts {
		if p.onHand != onHand[number] || p.held != held[number] || p.wanted != wanted[number] || p.onOrder != onOrder[number] {
			s.t.Fatalf("%s: %d on hand, %d held, %d wanted, %d on order; the documents say %d, %d, %d, %d", number,
				p.onHand, p.held, p.wanted, p.onOrder, onHand[number], held[number], wanted[number], onOrder[number])
		}
		if p.held < 0 || p.held > p.onHand {
			s.t.Fatalf("%s is oversold: %d held of %d on hand", number, p.held, p.onHand)
		}
		if p.wanted > 0 && p.held < p.onHand {
			s.t.Fatalf("%s: %d are wanted while %d lie free", number, p.wanted, p.onHand-p.held)
		}
		s.auditQueue(number, p)
		s.auditDates(number)
	}
	s.auditBins()
	s.auditReturns()
	s.auditExpiries()
	s.auditCars()
	s.auditWorth()
}

// auditCars checks that what the movements say went to a job, and came back from
// it, is what its lines say.
func (s *site) auditCars() {
	balance := map[[2]string]int64{}
	for _, e := range s.history {
		moved, is := e.(*inventoryv1.StockMoved)
		if !is {
			continue
		}
		m := moved.GetMovement()
		if m.GetKind() == inventoryv1.MovementKind_MOVEMENT_KIND_ISSUED || m.GetKind() == inventoryv1.MovementKind_MOVEMENT_KIND_RETURNED {
			balance[[2]string{m.GetReference(), m.GetPart()}] += m.GetQuantity()
		}
	}
	for job, h := range s.all.holds {
		for _, l := range h.doc.GetLines() {
			balance[[2]string{job, l.GetPart()}] += l.GetIssued() - l.GetReturned()
		}
	}
	for at, n := range balance {
		if n != 0 {
			s.t.Fatalf("the movements of %s for %s and its lines differ by %d", at[1], at[0], n)
		}
	}
}

// auditBins checks what is off its bin: picked pieces are held, strays are not,
// and a kit of which nothing is picked waits nowhere.
func (s *site) auditBins() {
	picked, stray := map[string]int64{}, map[string]int64{}
	for job, h := range s.st.holds {
		some := false
		for _, l := range h.doc.GetLines() {
			if l.GetPicked() < 0 || l.GetPicked() > l.GetHeld() || l.GetStray() < 0 {
				s.t.Fatalf("%s: more is picked than held: %v", job, l)
			}
			picked[l.GetPart()] += l.GetPicked()
			stray[l.GetPart()] += l.GetStray()
			some = some || l.GetPicked() > 0
		}
		if !some && h.doc.GetStagedAt() != "" {
			s.t.Fatalf("nothing of %s is picked, and it waits at %s", job, h.doc.GetStagedAt())
		}
	}
	for number, p := range s.st.parts {
		if p.picked != picked[number] || p.stray != stray[number] {
			s.t.Fatalf("%s: %d picked and %d astray; the lines say %d and %d", number, p.picked, p.stray, picked[number], stray[number])
		}
	}
}

// auditMovements sums what is on hand: received - issued + returned ± counts - scrapped.
func (s *site) auditMovements() map[string]int64 {
	onHand := map[string]int64{}
	number := uint64(0)
	for _, e := range s.history {
		moved, is := e.(*inventoryv1.StockMoved)
		if !is {
			continue
		}
		m := moved.GetMovement()
		number++
		onHand[m.GetPart()] += m.GetQuantity()
		if m.GetNumber() != number || m.GetOnHandAfter() != onHand[m.GetPart()] || m.GetQuantity() == 0 && m.GetKind() != inventoryv1.MovementKind_MOVEMENT_KIND_REVALUED || m.GetOnHandAfter() < 0 {
			s.t.Fatalf("movement %d, after %d of %s: %v", number, onHand[m.GetPart()], m.GetPart(), m)
		}
	}
	return onHand
}

func (s *site) auditHolds() (held, wanted map[string]int64) {
	held, wanted = map[string]int64{}, map[string]int64{}
	for job, h := range s.st.holds {
		short, open := false, false
		names := map[string]bool{}
		for _, l := range h.doc.GetLines() {
			if names[l.GetLine()] {
				s.t.Fatalf("%s has line %s twice", job, l.GetLine())
			}
			names[l.GetLine()] = true
			s.auditLine(job, l)
			held[l.GetPart()] += l.GetHeld()
			if l.GetState() == lineShort {
				wanted[l.GetPart()] += l.GetQuantity() - l.GetIssued() + l.GetReturned() + l.GetFailed() - l.GetHeld()
			}
			short = short || l.GetState() == lineShort
			open = open || l.GetState() == lineShort || l.GetState() == lineHeld
		}
		doc := h.doc
		if short != (doc.GetState() == stateShort) || short != (doc.GetEta() != nil) {
			s.t.Fatalf("%s: a line is short: %v, and yet %v", job, short, doc)
		}
		if open && doc.GetState() != stateShort && doc.GetState() != stateHeld {
			s.t.Fatalf("%s has open lines in a finished hold: %v", job, doc)
		}
	}
	return held, wanted
}

// auditLine checks that a line's state says what its quantities say: a hold is
// never half made silently.
func (s *site) auditLine(job string, l *inventoryv1.HoldLine) {
	out := l.GetIssued() - l.GetReturned() - l.GetFailed()
	right := false
	switch l.GetState() {
	case lineHeld:
		right = l.GetHeld() > 0 && l.GetHeld()+out == l.GetQuantity()
	case lineShort:
		right = l.GetHeld()+out < l.GetQuantity()
	case lineIssued:
		right = l.GetHeld() == 0 && out == l.GetQuantity()
	case lineReturned:
		right = l.GetHeld() == 0 && out == 0 && l.GetReturned()+l.GetFailed() > 0
	case lineReleased:
		right = l.GetHeld() == 0 && out == 0
	case inventoryv1.LineState_LINE_STATE_UNSPECIFIED:
	}
	if !right || l.GetHeld() < 0 || out < 0 || l.GetEta() != nil && l.GetState() != lineShort ||
		l.GetEtaP80() != nil && (l.GetEta() == nil || l.GetEtaP80().AsTime().Before(l.GetEta().AsTime())) {
		s.t.Fatalf("%s: the line does not add up: %v", job, l)
	}
}

func (s *site) auditOrders() map[string]int64 {
	onOrder := map[string]int64{}
	for _, o := range s.st.orders {
		if o.GetState() == inventoryv1.OrderState_ORDER_STATE_CANCELLED {
			continue
		}
		left := int64(0)
		for _, l := range o.GetLines() {
			left += max(0, l.GetQuantity()-l.GetReceived())
			onOrder[l.GetPart()] += max(0, l.GetQuantity()-l.GetReceived())
		}
		if (left == 0) != (o.GetState() == inventoryv1.OrderState_ORDER_STATE_RECEIVED) {
			s.t.Fatalf("%d are left of %v", left, o)
		}
	}
	return onOrder
}

// ahead says who comes first: the more urgent, then the older, then the lower number.
func ahead(a, b claim) bool {
	switch {
	case a.priority != b.priority:
		return a.priority > b.priority
	case !a.since.Equal(b.since):
		return a.since.Before(b.since)
	default:
		return rest.Number(a.job) < rest.Number(b.job)
	}
}

// auditQueue checks that exactly those wait who miss something.
func (s *site) auditQueue(number string, p *part) {
	for i := 1; i < len(p.waiting.items); i++ {
		if !ahead(p.waiting.items[i-1], p.waiting.items[i]) {
			s.t.Fatalf("the queue for %s is out of order: %v", number, p.waiting.items)
		}
	}
	waiting := map[string]bool{}
	for _, c := range p.waiting.items {
		waiting[c.job] = true
	}
	if len(waiting) != len(p.waiting.items) {
		s.t.Fatalf("somebody waits twice for %s: %v", number, p.waiting.items)
	}
	for job, h := range s.st.holds {
		if want := tallyOf(h.doc)[number].wanted > 0; want != waiting[job] {
			s.t.Fatalf("%s waits for %s: %v, want %v", job, number, waiting[job], want)
		}
		if got, want := p.holders[job], tallyOf(h.doc)[number].held; got != want {
			s.t.Fatalf("%s holds %d of %s, and the part says %d", job, want, number, got)
		}
	}
}

// amount is a quantity on a day.
type amount struct {
	at       time.Time
	quantity int64
}

// by sums what lies on or before a day.
func by(day time.Time, amounts []amount) (sum int64) {
	for _, a := range amounts {
		if !a.at.After(day) {
			sum += a.quantity
		}
	}
	return sum
}

// auditDates checks that by no day more is promised than arrives by then, and
// that nobody is told a date while somebody ahead of him has none.
func (s *site) auditDates(number string) {
	promised, undated := s.promised(number)
	arriving := s.arriving(number)
	for _, p := range promised {
		if by(p.at, promised) > by(p.at, arriving) {
			s.t.Fatalf("%s: by %v, %d are promised and %d arrive", number, p.at, by(p.at, promised), by(p.at, arriving))
		}
	}
	ever := s.now.AddDate(1000, 0, 0)
	if wanted := s.st.parts[number].wanted; undated && by(ever, arriving) >= wanted {
		s.t.Fatalf("%s: %d on order cover the %d wanted, and somebody has no date", number, by(ever, arriving), wanted)
	}
}

// promised lists what those who wait for a part were told; undated: not all were.
func (s *site) promised(number string) (promised []amount, undated bool) {
	for _, c := range s.st.parts[number].waiting.items {
		for _, l := range s.st.holds[c.job].doc.GetLines() {
			switch {
			case l.GetPart() != number || l.GetState() != lineShort:
			case l.GetEta() == nil:
				undated = true
			case undated:
				s.t.Fatalf("%s: %s is promised a delivery before somebody ahead of it", number, c.job)
			default:
				promised = append(promised, amount{l.GetEta().AsTime(), lacking(l)})
			}
		}
	}
	return promised, undated
}

func (s *site) arriving(number string) (arriving []amount) {
	for _, o := range s.st.orders {
		for _, l := range o.GetLines() {
			if l.GetPart() == number && outstanding(o, l) > 0 {
				arriving = append(arriving, amount{l.GetExpected().AsTime(), outstanding(o, l)})
			}
		}
	}
	return arriving
}

func (s *site) auditExpiries() {
	lately := s.now.Add(-2 * firingPause) // what is due just now may wait for its turn
	for job, h := range s.st.holds {
		if eta := h.doc.GetEta(); eta != nil && !eta.AsTime().After(lately) {
			s.t.Fatalf("%s was expected at %v and is told nothing new", job, eta.AsTime())
		}
		for _, l := range h.doc.GetLines() {
			if l.GetEta() != nil && !l.GetEta().AsTime().After(lately) {
				s.t.Fatalf("%s of %s was expected at %v and is told nothing new", l.GetLine(), job, l.GetEta().AsTime())
			}
		}
	}
	want := 0
	for job, h := range s.st.holds {
		if h.doc.GetExpiresAt() == nil {
			continue
		}
		want++
		if !h.doc.GetExpiresAt().AsTime().After(lately) {
			s.t.Fatalf("%s ended at %v and is still there", job, h.doc.GetExpiresAt().AsTime())
		}
		if !wantsAnything(h.doc) {
			s.t.Fatalf("%s wants nothing and is to expire", job)
		}
	}
	if got := len(s.st.expiries.items); got != want {
		s.t.Fatalf("%d holds are to expire, %d wait for it", want, got)
	}
}

// auditSteps applies a commit's events one by one to a second state and checks
// that not even between two of them more is held than is on hand.
func auditSteps(t tester, st *State, events []proto.Message) {
	t.Helper()
	for _, p := range st.parts {
		if p.held > p.onHand || p.held < 0 {
			t.Fatalf("after %v of %v: %d held of %d", events[len(events)-1], kinds(events), p.held, p.onHand)
		}
	}
}

// auditFairness checks a commit: whoever got more of a part got it after
// everybody ahead of him was served. subject is the job that the commit is
// about; it may keep what it had under another line.
func (s *site) auditFairness(before map[string]map[string]tally, subject string) {
	s.t.Helper()
	for number, p := range s.st.parts {
		if len(p.waiting.items) == 0 {
			continue
		}
		first := p.waiting.items[0]
		for job, h := range s.st.holds {
			gained := tallyOf(h.doc)[number].held - before[job][number].held
			if gained > 0 && job != subject && ahead(first, h.claim()) {
				s.t.Fatalf("%s got %d of %s before %s, which is ahead of it", job, gained, number, first.job)
			}
		}
	}
}

func (s *site) tallies() map[string]map[string]tally {
	all := map[string]map[string]tally{}
	for job, h := range s.st.holds {
		all[job] = tallyOf(h.doc)
	}
	return all
}
