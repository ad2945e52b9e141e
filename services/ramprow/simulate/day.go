package simulate

import (
	"math/rand/v2"
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/catalogue"
	"ramprow/internal/platform/simulation"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

// day is a scenario: what people at a workshop ask for, as far as they can know
// from the answers that they got.
type day struct {
	catalogue *catalogue.Catalogue
	jobs      []*visit
	orders    []*inventoryv1.Order
	blocks    map[string]string // the resource, by the block's id
	// crowd is how many cars the day wants: one that gets far, or many that get
	// into each other's way.
	crowd int
	// slips is how rarely somebody does what makes no sense just then: one time in so many.
	slips int
	// began is when the day began.
	began time.Time
}

// visit is what is known of one car.
type visit struct {
	job  *jobv1.Job
	next *torqueauditv1.NextTurn
	// proved are the joints of which the sheet said so.
	proved map[string]bool
	hold   *inventoryv1.Hold // as the shelf's answers show it
	signed bool
	closed bool
}

func newDay(seed uint64, c *catalogue.Catalogue) *day {
	r := rand.New(rand.NewPCG(seed, 1<<40)) // apart from every step
	return &day{catalogue: c, blocks: map[string]string{}, crowd: pick(r, []int{1, 1, 1, 2, 3, 4}), slips: 60, began: morning}
}

// Next implements simulation.Scenario.
func (d *day) Next(r *rand.Rand, id string) (simulation.Request, bool) {
	// The fewer cars, the fewer things beside them, so that one gets to its end.
	draw := r.IntN(100) / d.crowd
	switch {
	case len(d.jobs) == 0, len(d.jobs) < d.crowd && draw < 8:
		return d.open(r, id), true
	case draw < 11:
		return d.clerk(r, id), true
	case draw < 16:
		return d.dispatcher(r, id), true
	}
	return d.jobs[r.IntN(len(d.jobs))].advance(r, id, d)
}

// Heard implements simulation.Scenario.
func (d *day) Heard(c *simulation.Call) {
	if c.Err != nil {
		return
	}
	switch m := c.Answer.(type) {
	case interface{ GetJob() *jobv1.Job }:
		d.know(m.GetJob())
	case *torqueauditv1.PostReadingResponse:
		request, ok := c.Message.(*torqueauditv1.PostReadingRequest)
		if v := d.visit(jobOf(c.Message)); ok && v != nil {
			v.hearReading(request, m)
		}
	case interface{ GetHold() *inventoryv1.Hold }:
		if v := d.visit(jobOf(c.Message)); v != nil {
			v.hold = m.GetHold()
		}
	case *torqueauditv1.SignSheetResponse:
		if v := d.visit(jobOf(c.Message)); v != nil {
			v.signed = true
		}
	case *inventoryv1.PlaceOrderResponse:
		d.orders = append(d.orders, m.GetOrder())
	case *jobv1.CloseInvoiceResponse:
		if v := d.visit(jobOf(c.Message)); v != nil {
			v.closed = true
			v.job = proto.CloneOf(v.job)
			v.job.Invoice = m.GetInvoice()
		}
	}
	d.hearBlock(c)
}

func (d *day) visit(job string) *visit {
	for _, v := range d.jobs {
		if v.job.GetName() == job {
			return v
		}
	}
	return nil
}

// know takes a job as an answer shows it, be it an old answer or a new one.
func (d *day) know(j *jobv1.Job) {
	v := d.visit(j.GetName())
	if v == nil {
		d.jobs = append(d.jobs, &visit{job: j, proved: map[string]bool{}})
		return
	}
	if !j.GetUpdatedAt().AsTime().Before(v.job.GetUpdatedAt().AsTime()) {
		v.job = j
	}
}

func jobOf(m proto.Message) string {
	if of, ok := m.(interface{ GetJob() string }); ok {
		return of.GetJob()
	}
	return ""
}

func pick[T any](r *rand.Rand, list []T) T { return list[r.IntN(len(list))] }
