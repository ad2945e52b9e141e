package inventory

import (
	"slices"
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/partmaster"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// State is what the inventory of one site knows. The messages in it are never
// changed in place: an event brings a whole new one.
type State struct {
	parts map[string]*part // by number
	// successors gives for a part's number that of the part that supersedes it.
	successors map[string]string
	// barcodes gives the number of the part that a code is on, by partmaster.Code.
	barcodes map[string]string
	holds    map[string]*holding // by job
	orders   map[string]*inventoryv1.Order
	// movements by number: the newest, and those that were asked for; moved counts all.
	movements map[uint64]*inventoryv1.Movement
	moved     uint64
	// returns by name: what goes back to suppliers; returned counts all.
	returns  map[string]*inventoryv1.Return
	returned uint64
	shelves  shelves
	// placed is the number of the newest order.
	placed    uint64
	suppliers suppliers
	expiries  ordered[deadline]
	arrivals  ordered[deadline] // of what is short
	// When the newest hold expired, and the newest was told to be short.
	lastExpiry, lastShort time.Time
}

// part is a line of the part master and what follows for it from movements,
// holds and orders.
type part struct {
	about   *inventoryv1.Part // without any stock figure
	onHand  int64
	held    int64
	wanted  int64
	onOrder int64
	worth   worth
	// dated counts the waiting lines that have been given a date.
	dated   int
	holders map[string]int64 // what each job has on the shelf
	waiting ordered[claim]
	orders  map[string]struct{} // the open ones that bring it
	usage   usage
	moves   map[inventoryv1.MovementKind]moved
	// picked and stray pieces are on hand and not in their bin.
	picked, stray int64
	counted       *inventoryv1.Movement      // the newest difference of a count
	question      *inventoryv1.CountQuestion // nil: nobody asks
}

// moved sums the movements of one kind.
type moved struct{ quantity, movements, value int64 }

// claim is a job's place in the queue for a part.
type claim struct {
	priority uint32
	since    time.Time
	number   uint64 // of the job: the last tie-break
	job      string
}

// holding is a job's hold.
type holding struct {
	doc *inventoryv1.Hold
	// since is when the job came to want parts: its age in every queue.
	since time.Time
	// lost are the lines that were given up when the hold ended, and over tells
	// that the job ended with it.
	lost map[string]bool
	over bool
	// were are the parts of the hold before: their rows change with it too.
	were []string
}

func newState(string) *State {
	return &State{
		parts:      map[string]*part{},
		successors: map[string]string{},
		barcodes:   map[string]string{},
		holds:      map[string]*holding{},
		orders:     map[string]*inventoryv1.Order{},
		movements:  map[uint64]*inventoryv1.Movement{},
		suppliers:  newSuppliers(),
		returns:    map[string]*inventoryv1.Return{},
		expiries:   ordered[deadline]{compare: compareDeadlines},
		arrivals:   ordered[deadline]{compare: compareDeadlines},
	}
}

// list puts a part into the master or replaces its description.
func (st *State) list(about *inventoryv1.Part) {
	p := st.parts[about.GetNumber()]
	if p == nil {
		p = newPart()
		st.parts[about.GetNumber()] = p
	}
	if before := p.about.GetSupersedes(); st.successors[before] == about.GetNumber() {
		delete(st.successors, before)
	}
	if about.GetSupersedes() != "" {
		st.successors[about.GetSupersedes()] = about.GetNumber()
	}
	st.relabel(p.about, about)
	p.about = about
}

// relabel notes which part a barcode is on. A code that cannot be read, which
// only an old log can hold, is found by nobody.
func (st *State) relabel(before, about *inventoryv1.Part) {
	if old, err := partmaster.Code(before.GetBarcode()); err == nil && st.barcodes[old] == about.GetNumber() {
		delete(st.barcodes, old)
	}
	if code, err := partmaster.Code(about.GetBarcode()); err == nil {
		st.barcodes[code] = about.GetNumber()
	}
}

func newPart() *part {
	return &part{
		holders: map[string]int64{},
		waiting: ordered[claim]{compare: compareClaims},
		orders:  map[string]struct{}{},
		moves:   map[inventoryv1.MovementKind]moved{},
	}
}

// sum counts a movement by its kind.
func (p *part) sum(m *inventoryv1.Movement) {
	s := p.moves[m.GetKind()]
	p.moves[m.GetKind()] = moved{s.quantity + m.GetQuantity(), s.movements + 1, s.value + m.GetValueMinorUnits()}
}

// move is the only place where what is on hand changes.
func (st *State) move(m *inventoryv1.Movement) {
	p := st.parts[m.GetPart()]
	m = p.valued(m)
	p.onHand += m.GetQuantity()
	p.usage.note(m)
	p.sum(m)
	if m.GetKind() == inventoryv1.MovementKind_MOVEMENT_KIND_COUNTED {
		p.counted = m
	}
	st.movements[m.GetNumber()] = m
	if st.moved = m.GetNumber(); st.moved%pageSize == 0 {
		st.shelves.pages.Settle(pageOf(st.moved), m.GetAt().AsTime())
	}
}

// setHold replaces a job's hold and takes over what follows for its parts.
func (st *State) setHold(doc *inventoryv1.Hold, at time.Time) {
	h := st.holds[doc.GetJob()]
	if h == nil {
		h = &holding{since: at}
		st.holds[doc.GetJob()] = h
	}
	h.were = h.were[:0]
	before := tallyOf(h.doc)
	for number, t := range before {
		st.parts[number].drop(h.claim(), t)
		h.were = append(h.were, number)
	}
	slices.Sort(h.were) // a map has no order, and equal histories give equal states
	st.expiries.remove(expiryOf(h.doc))
	st.arrivals.remove(arrivalOf(h.doc))
	if ended(h.doc) && !ended(doc) {
		h.since = at // it comes back to the end of the queue
	}
	h.doc = doc
	st.take(h)
}

// take adds what follows from a hold to its parts and to what is due.
func (st *State) take(h *holding) {
	for number, t := range tallyOf(h.doc) {
		st.parts[number].add(h.claim(), t)
	}
	st.expiries.insert(expiryOf(h.doc))
	st.arrivals.insert(arrivalOf(h.doc))
}

// endHold remembers what a hold loses as it ends, so that it can be renewed.
func (st *State) endHold(m *inventoryv1.HoldReleased, at time.Time) {
	lost := map[string]bool{}
	for _, l := range st.holds[m.GetJob()].doc.GetLines() {
		lost[l.GetLine()] = open(l)
	}
	st.setHold(m.GetHold(), at)
	h := st.holds[m.GetJob()]
	h.lost, h.over = lost, m.GetJobOver()
	if m.GetExpired() {
		st.lastExpiry = at
	}
}

// ended tells whether a hold was given up, so that a new one starts anew.
func ended(doc *inventoryv1.Hold) bool {
	return doc.GetState() == inventoryv1.HoldState_HOLD_STATE_RELEASED ||
		doc.GetState() == inventoryv1.HoldState_HOLD_STATE_EXPIRED
}

// claim is the hold's place in the queue for each part that it lacks.
func (h *holding) claim() claim { return claimOf(h.doc, h.since) }

func (p *part) drop(c claim, t tally) {
	p.held -= t.held
	p.wanted -= t.wanted
	p.dated -= t.dated
	p.picked -= t.picked
	p.stray -= t.stray
	delete(p.holders, c.job)
	if t.wanted > 0 {
		p.waiting.remove(c)
	}
}

func (p *part) add(c claim, t tally) {
	p.held += t.held
	p.wanted += t.wanted
	p.dated += t.dated
	p.picked += t.picked
	p.stray += t.stray
	if t.held > 0 {
		p.holders[c.job] = t.held
	}
	if t.wanted > 0 {
		p.waiting.insert(c)
	}
}

func (st *State) extend(m *inventoryv1.HoldExtended) {
	h := st.holds[m.GetJob()]
	st.expiries.remove(expiryOf(h.doc))
	doc := proto.CloneOf(h.doc)
	doc.ExpiresAt = m.GetExpiresAt()
	h.doc = doc
	st.expiries.insert(expiryOf(doc))
}

// book keeps when and where the job of a hold has its turn.
func (st *State) book(m *inventoryv1.HoldBooked) {
	h := st.holds[m.GetJob()]
	if h == nil {
		return
	}
	doc := proto.CloneOf(h.doc)
	doc.Turn, doc.Bay = m.GetTurn(), m.GetBay()
	h.doc = doc
}

// setOrder replaces an order and takes over what it still brings.
func (st *State) setOrder(o *inventoryv1.Order) {
	for _, line := range st.orders[o.GetName()].GetLines() {
		p := st.parts[line.GetPart()]
		p.onOrder -= outstanding(st.orders[o.GetName()], line)
		delete(p.orders, o.GetName())
	}
	st.orders[o.GetName()] = o
	for _, line := range o.GetLines() {
		if n := outstanding(o, line); n > 0 {
			p := st.parts[line.GetPart()]
			p.onOrder += n
			p.orders[o.GetName()] = struct{}{}
		}
	}
}

func (st *State) cancelOrder(name string) {
	o := proto.CloneOf(st.orders[name])
	o.State = inventoryv1.OrderState_ORDER_STATE_CANCELLED
	st.setOrder(o)
}

// holdersByJob lists who has a part on the shelf, in the order of their jobs.
func (p *part) holdersByJob() []string {
	jobs := make([]string, 0, len(p.holders))
	for job := range p.holders {
		jobs = append(jobs, job)
	}
	slices.SortFunc(jobs, compareJobs)
	return jobs
}

// servedByJob lists the jobs that hold some of a part and wait for no more of it.
func (p *part) servedByJob() []string {
	waits := map[string]bool{}
	for _, c := range p.waiting.items {
		waits[c.job] = true
	}
	return slices.DeleteFunc(p.holdersByJob(), func(job string) bool { return waits[job] })
}
