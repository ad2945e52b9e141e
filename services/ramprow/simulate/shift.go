package simulate

import (
	"math/rand/v2"
	"slices"
	"time"

	"ramprow/internal/catalogue"
	"ramprow/internal/platform/simulation"
	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// Shift is a simulated day's people for services that are not simulated: what
// they ask for next, as far as they can know from the answers that they got. A
// car that is paid or given up leaves, and another one comes in.
type Shift struct {
	day  *day
	left int
}

// NewShift has so many cars in work at the same time. began is the present.
func NewShift(c *catalogue.Catalogue, cars int, began time.Time) *Shift {
	return &Shift{day: &day{catalogue: c, blocks: map[string]string{}, crowd: max(cars, 1), slips: 400, began: began}}
}

// Furniture is what the services of a workshop must have been asked before its
// first shift begins; each request once, in any order but for the first.
func Furniture(c *catalogue.Catalogue, began time.Time) []simulation.Request {
	return furniture(c.Message(), began)
}

// Next gives a request under an id, or false if there is nothing to ask for.
func (s *Shift) Next(r *rand.Rand, id string) (simulation.Request, bool) {
	s.day.jobs = slices.DeleteFunc(s.day.jobs, func(v *visit) bool {
		gone := over(v.job)
		if gone {
			s.left++
		}
		return gone
	})
	if len(s.day.jobs) < s.day.crowd {
		return s.day.open(r, id), true
	}
	if part := s.missing(r); part != nil && r.IntN(4) == 0 {
		return ask(stockLog, inventoryv1.InventoryService_ReceiveGoods_FullMethodName, &inventoryv1.ReceiveGoodsRequest{
			RequestId: id, Lines: []*inventoryv1.ReceivedLine{{Part: part.GetNumber(), Quantity: stockOf(part)}},
		}), true
	}
	return s.day.Next(r, id)
}

// missing is a part that a car in work waits for; nil if none does.
func (s *Shift) missing(r *rand.Rand) *cataloguev1.Part {
	short := pick(r, s.day.jobs).job.GetParts().GetShortParts()
	if len(short) == 0 {
		return nil
	}
	return s.day.catalogue.Part(pick(r, short))
}

// Heard takes an answer. Reads of a job are welcome, too.
func (s *Shift) Heard(c *simulation.Call) {
	if j, ok := c.Answer.(*jobv1.GetJobResponse); ok && over(j.GetJob()) && s.day.visit(j.GetJob().GetName()) == nil {
		return // it has left
	}
	s.day.Heard(c)
}

// Job names a car that is in work; "" if there is none.
func (s *Shift) Job(r *rand.Rand) string {
	if len(s.day.jobs) == 0 {
		return ""
	}
	return pick(r, s.day.jobs).job.GetName()
}

// Left counts the cars that came and went.
func (s *Shift) Left() int { return s.left }

// over tells of a job on which nothing is left to do.
func over(j *jobv1.Job) bool {
	return j.GetState() == jobv1.JobState_JOB_STATE_CANCELLED || j.GetState() == jobv1.JobState_JOB_STATE_CLOSED && j.GetInvoice().GetPaid().GetMinorUnits() > 0
}
