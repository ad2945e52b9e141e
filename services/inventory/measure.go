package inventory

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"runtime"
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/sitelog"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	logv1 "ramprow/proto/ramprow/log/v1"
)

// Measured is one figure of a big shop.
type Measured struct {
	What  string        `json:"what"`
	Times int           `json:"times"`
	Each  time.Duration `json:"each_ns"`
}

// BigShop is what a site with many parts and a long history takes, without the
// log: events are folded from memory, archived pages come from there, too.
type BigShop struct {
	Parts     int `json:"parts"`
	Movements int `json:"movements"`
	// Those that have not left for the archive.
	InState       int        `json:"movements_in_state"`
	EventBytes    int        `json:"event_bytes"`
	StateBytes    int64      `json:"state_bytes"`
	SnapshotBytes int        `json:"snapshot_bytes"`
	Figures       []Measured `json:"figures"`
}

// MostBigParts and MostBigMovements bound what is built, for all of it is in memory.
const (
	MostBigParts     = 500_000
	MostBigMovements = 5_000_000
)

// MeasureBigShop builds a shop of so many parts and movements over three years, in
// which few parts go often and most seldom, and measures what it takes. The data
// are invented, and the same each time.
func MeasureBigShop(parts, movements int) (*BigShop, error) {
	if parts < 1 || parts > MostBigParts || movements < 1 || movements > MostBigMovements {
		return nil, fmt.Errorf("a shop to measure has 1 to %d parts and 1 to %d movements", MostBigParts, MostBigMovements)
	}
	m := newMeasuring(parts, movements)
	if err := m.run(); err != nil {
		return nil, err
	}
	return m.shop, nil
}

func newMeasuring(parts, movements int) *measuring {
	return &measuring{shop: &BigShop{Parts: parts, Movements: movements}, began: time.Date(2031, time.March, 3, 8, 0, 0, 0, time.UTC)}
}

func (m *measuring) run() error {
	for _, step := range []func() error{m.build, m.rebuild, m.ask, m.look, m.save} {
		if err := step(); err != nil {
			return err
		}
	}
	return nil
}

// yearsOfBigShop is how long its movements take.
const yearsOfBigShop = 3

// measuring is a measurement under way.
type measuring struct {
	shop     *BigShop
	began    time.Time
	now      time.Time
	st       *State
	events   []packed
	archived map[string]*logv1.Archived
}

// packed is an event as the log has it.
type packed struct {
	kind proto.Message
	data []byte
	at   time.Time
}

func (m *measuring) timed(what string, times int, do func() error) error {
	began := time.Now()
	for range times {
		if err := do(); err != nil {
			return fmt.Errorf("%s: %w", what, err)
		}
	}
	m.shop.Figures = append(m.shop.Figures, Measured{what, times, time.Since(began) / time.Duration(times)})
	return nil
}

// apply puts events into the state and among those of the log.
func (m *measuring) apply(events ...proto.Message) error {
	for _, e := range events {
		data, err := proto.Marshal(e)
		if err != nil {
			return fmt.Errorf("pack %T: %w", e, err)
		}
		m.events = append(m.events, packed{e, data, m.now})
		m.shop.EventBytes += len(data)
		if a, is := e.(*logv1.Archived); is {
			m.archived[a.GetName()] = a
		}
		evolve(m.st, sitelog.Event{Message: e, Number: uint64(len(m.events)), Time: m.now})
	}
	return nil
}

// build makes the history; nothing is issued that is not there, and what has
// rested leaves for the archive as it does in the service.
func (m *measuring) build() error {
	m.st, m.now, m.archived = newState(""), m.began, map[string]*logv1.Archived{}
	for n := range m.shop.Parts {
		if err := m.apply(&inventoryv1.PartListed{Part: bigPart(n)}); err != nil {
			return err
		}
	}
	random := rand.New(rand.NewPCG(6, 1))
	span := yearsOfBigShop * 52 * week
	for n := range m.shop.Movements {
		m.now = m.began.Add(time.Duration(float64(n) / float64(m.shop.Movements) * float64(span)))
		if err := m.leave(); err != nil {
			return err
		}
		number := bigNumber(int(float64(m.shop.Parts) * random.Float64() * random.Float64() * random.Float64()))
		d := newDraft(m.st, sitelog.Input{Now: m.now, Actor: sitelog.Actor{Person: "kim"}})
		c := change{part: number, kind: inventoryv1.MovementKind_MOVEMENT_KIND_ISSUED, quantity: -1, reference: jobOf(uint64(1 + n/10))}
		if m.st.parts[number].onHand == 0 {
			quantity := 1 + random.Int64N(12)
			c.kind, c.quantity, c.reference = inventoryv1.MovementKind_MOVEMENT_KIND_RECEIVED, quantity, "goods-in"
			c.cost = money(quantity*(200+random.Int64N(100)), "EUR")
		}
		if err := d.move(c); err != nil {
			return err
		}
		if err := m.apply(d.finish()...); err != nil {
			return err
		}
	}
	m.now = m.began.Add(span)
	return nil
}

// leave archives what may leave by now.
func (m *measuring) leave() error {
	for {
		at, pending := due(m.st)
		if !pending || at.After(m.now) {
			return nil
		}
		events, err := fire(m.st, sitelog.Input{Now: m.now})
		if err != nil {
			return err
		}
		if len(events) == 0 {
			return errors.New("something is due, and nothing comes of it")
		}
		if err := m.apply(events...); err != nil {
			return err
		}
	}
}

func bigNumber(n int) string { return fmt.Sprintf("M-%05d", n) }

func bigPart(n int) *inventoryv1.Part {
	return &inventoryv1.Part{
		Name: partName(bigNumber(n)), Number: bigNumber(n), Title: "Part " + bigNumber(n), Unit: commonv1.Unit_UNIT_PIECE,
		Supplier: "northgate", LeadTimeDays: 5, Bin: "A1", Cost: money(250, "EUR"),
	}
}

func heapInUse() int64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return int64(m.HeapAlloc) //nolint:gosec // far below
}

// rebuild folds the whole history anew, as a start without a snapshot does.
func (m *measuring) rebuild() error {
	m.st = nil
	before := heapInUse()
	err := m.timed("fold the whole history", 1, func() error {
		st := newState("")
		for i, e := range m.events {
			read := e.kind.ProtoReflect().New().Interface()
			if err := proto.Unmarshal(e.data, read); err != nil {
				return err
			}
			evolve(st, sitelog.Event{Message: read, Number: uint64(i + 1), Time: e.at})
		}
		m.st = st
		return nil
	})
	m.shop.StateBytes, m.shop.InState = heapInUse()-before, len(m.st.movements)
	return err
}

// ask measures what is asked every day.
func (m *measuring) ask() error {
	number := bigNumber(m.shop.Parts / 7)
	for _, q := range []struct {
		what  string
		times int
		do    func() error
	}{
		{"explain a part", 1000, func() error { _, err := m.st.explain(number); return err }},
		{"find a part by its code", 1000, func() error { _, err := m.st.scanned(number); return err }},
		{"promise a part", 1000, func() error { _, err := m.st.promise(&inventoryv1.GetPromiseRequest{Part: number}, m.now); return err }},
		{"decide and apply a receipt", 1000, func() error {
			events, _, err := receiveGoods(m.st, sitelog.Input{Now: m.now}, &inventoryv1.ReceiveGoodsRequest{
				Lines: []*inventoryv1.ReceivedLine{{Part: number, Quantity: 1}},
			})
			for _, e := range events {
				evolve(m.st, sitelog.Event{Message: e, Time: m.now})
			}
			return err
		}},
	} {
		if err := m.timed(q.what, q.times, q.do); err != nil {
			return err
		}
	}
	return nil
}

// look measures what looks at all parts.
func (m *measuring) look() error {
	var asked []question
	for _, q := range []struct {
		what  string
		times int
		do    func() error
	}{
		{"copy what proposals need, the writer waiting", 3, func() error { asked = m.st.questions(m.now); return nil }},
		{"propose orders for all parts", 1, func() error { _, err := shop(asked, nil, m.now); return err }},
		{"find idle stock among all parts", 1, func() error { _, err := idle(asked); return err }},
		{"rank all parts by value", 1, func() error { _, err := classes(m.st.uses(m.now)); return err }},
		{"deliveries, picks and returns of a morning", 3, func() error { m.st.morning(m.now, m.now.Add(oneDay)); return nil }},
		{"the value of all stock now", 3, func() error { return m.report(m.now) }},
		{"the value of all stock 30 days ago", 1, func() error { return m.report(m.now.AddDate(0, 0, -30)) }},
		{"the value of all stock a year ago", 1, func() error { return m.report(m.now.AddDate(-1, 0, 0)) }},
	} {
		if err := m.timed(q.what, q.times, q.do); err != nil {
			return err
		}
	}
	return nil
}

// value takes movements back to a time, with pages brought back and sent off again.
func (m *measuring) value(at time.Time) (*valuation, error) {
	v := m.st.valuation(at)
	for !v.done {
		page, err := v.page(m.st)
		if filed, away := errors.AsType[*sitelog.ArchivedError](err); away {
			evolve(m.st, sitelog.Event{Message: &logv1.Recalled{Name: filed.Name, Commit: filed.Commit, Record: m.archived[filed.Name].GetRecord()}, Time: m.now})
			page, err = v.page(m.st)
			evolve(m.st, sitelog.Undo(filed, ""))
		}
		if err != nil {
			return nil, err
		}
		v.takeBack(page)
	}
	return v, nil
}

// report makes the answer, as the service does.
func (m *measuring) report(at time.Time) error {
	v, err := m.value(at)
	if err == nil {
		v.report()
	}
	return err
}

// save measures a snapshot, and a start from it.
func (m *measuring) save() error {
	var encode func() ([]byte, error)
	var data []byte
	for _, q := range []struct {
		what string
		do   func() error
	}{
		{"a snapshot, the writer waiting", func() error { encode = snapshot(m.st); return nil }},
		{"a snapshot, beside the writer", func() (err error) { data, err = encode(); return err }},
		{"start from the snapshot", func() error {
			again, err := restore("", data)
			if err == nil && (again.moved != m.st.moved || len(again.parts) != len(m.st.parts)) {
				err = errors.New("the snapshot holds another state")
			}
			return err
		}},
	} {
		if err := m.timed(q.what, 1, q.do); err != nil {
			return err
		}
	}
	m.shop.SnapshotBytes = len(data)
	return nil
}
