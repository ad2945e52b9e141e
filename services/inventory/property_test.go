package inventory

import (
	"fmt"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"
	"pgregory.net/rapid"

	"ramprow/internal/platform/command"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// world draws commands and foreign events at random over few parts and jobs, so
// that they fight.
type world struct {
	*site
	t         *rapid.T
	revisions map[string]uint32
}

var worldParts = []string{"AA", "BB", "CC", "DD"}

const worldJobs = 6

func (w *world) part() string { return rapid.SampledFrom(worldParts).Draw(w.t, "part") }
func (w *world) job() string  { return jobName(rapid.IntRange(1, worldJobs).Draw(w.t, "job")) }
func (w *world) some() int64  { return rapid.Int64Range(1, 6).Draw(w.t, "quantity") }

func (w *world) plan(job string) *jobv1.Plan {
	w.revisions[job]++
	plan := &jobv1.Plan{Revision: w.revisions[job]}
	if rapid.IntRange(0, 9).Draw(w.t, "stale") == 0 {
		plan.Revision--
	}
	for i := range rapid.IntRange(0, 4).Draw(w.t, "lines") {
		l := line(fmt.Sprintf("line-%d", i), w.part(), w.some())
		if rapid.Bool().Draw(w.t, "alternative") {
			l.Feature, l.Value = "f", rapid.SampledFrom([]string{"x", "y"}).Draw(w.t, "value")
		}
		plan.Parts = append(plan.Parts, l)
	}
	return plan
}

func (w *world) foreign() proto.Message {
	job := w.job()
	switch rapid.IntRange(0, 7).Draw(w.t, "event") {
	case 0, 1:
		return &jobv1.DiagnosisConfirmed{Job: job, Plan: w.plan(job), Priority: rapid.Uint32Range(0, 3).Draw(w.t, "priority")}
	case 2, 3:
		return &jobv1.PlanRevised{Job: job, Plan: w.plan(job)}
	case 4:
		return &jobv1.DesignFound{Job: job, Feature: "f", Value: rapid.SampledFrom([]string{"x", "y", "z"}).Draw(w.t, "found")}
	case 5:
		return &jobv1.JobCancelled{Job: job}
	case 6:
		return &jobv1.InvoiceClosed{Job: job}
	default:
		return &jobv1.StepStarted{Job: job, First: true}
	}
}

// hear lets the site hear of something, and checks what it makes of it.
func (w *world) hear() {
	m := w.foreign()
	before := w.tallies()
	w.hears(m)
	subject := ""
	if named, is := m.(interface{ GetJob() string }); is {
		subject = named.GetJob()
	}
	w.auditFairness(before, subject)
}

// command gives a command at random; most are refused somewhere.
func (w *world) command() {
	before := w.tallies()
	w.person = rapid.SampledFrom([]string{"kim", "tom"}).Draw(w.t, "person")
	var err error
	switch rapid.IntRange(0, 16).Draw(w.t, "command") {
	case 0, 1:
		err = w.deliver()
	case 2:
		err = w.count()
	case 3:
		err = run(w, scrapPart, &inventoryv1.ScrapPartRequest{Part: w.part(), Quantity: w.some(), Reason: "bent"})
	case 4:
		err = run(w, issueParts, &inventoryv1.IssuePartsRequest{Job: w.job(), Lines: w.names()})
	case 5:
		err = run(w, returnParts, &inventoryv1.ReturnPartsRequest{Job: w.job(), Lines: append(w.names(), "line-0")})
	case 6:
		if rapid.Bool().Draw(w.t, "renew") {
			err = run(w, renewHold, &inventoryv1.RenewHoldRequest{Job: w.job()})
		} else {
			err = run(w, releaseHold, &inventoryv1.ReleaseHoldRequest{Job: w.job(), Reason: "by hand"})
		}
	case 7:
		err = run(w, placeOrder, &inventoryv1.PlaceOrderRequest{Supplier: "northgate", Lines: w.orderLines(2)})
	case 8:
		order := w.order()
		if rapid.Bool().Draw(w.t, "cancel") {
			err = run(w, cancelOrder, &inventoryv1.CancelOrderRequest{Order: order, Reason: "late"})
		} else {
			err = run(w, confirmOrder, &inventoryv1.ConfirmOrderRequest{Order: order, Lines: w.orderLines(3)})
		}
	case 9:
		err = w.ask()
	case 10:
		err = run(w, correctCost, &inventoryv1.CorrectCostRequest{
			Part: w.part(), Quantity: w.some(), Difference: euros(rapid.Int64Range(-300, 300).Draw(w.t, "difference")), Reason: "bill",
		})
	case 11, 12, 13:
		err = w.goBack()
	default:
		err = w.pick()
	}
	if err != nil && (fault.ReasonOf(err) == "" || fault.KindOf(err) == fault.Internal) {
		w.t.Fatalf("refused without a reason: %v", err)
	}
	w.auditFairness(before, "")
}

func run[Q command.Request, R proto.Message](w *world, decide func(*State, sitelog.Input, Q) ([]proto.Message, R, error), req Q) error {
	resp, err := do(w.site, decide, req)
	if err != nil {
		return err
	}
	w.answersAreTrue(resp)
	return nil
}

// answersAreTrue checks that what was answered is what the state then says.
func (w *world) answersAreTrue(resp proto.Message) {
	if r, is := resp.(interface{ GetPart() *inventoryv1.Part }); is && r.GetPart() != nil {
		w.partIsTrue(r.GetPart())
	}
	if r, is := resp.(interface{ GetParts() []*inventoryv1.Part }); is {
		for _, p := range r.GetParts() {
			w.partIsTrue(p)
		}
	}
	if r, is := resp.(interface{ GetHold() *inventoryv1.Hold }); is && !proto.Equal(r.GetHold(), w.st.holds[r.GetHold().GetJob()].doc) {
		w.t.Fatalf("answered %v, and it is %v", r.GetHold(), w.st.holds[r.GetHold().GetJob()].doc)
	}
	if r, is := resp.(interface{ GetOrder() *inventoryv1.Order }); is && !proto.Equal(r.GetOrder(), w.st.orders[r.GetOrder().GetName()]) {
		w.t.Fatalf("answered %v, and it is %v", r.GetOrder(), w.st.orders[r.GetOrder().GetName()])
	}
}

func (w *world) partIsTrue(p *inventoryv1.Part) {
	if now := w.st.parts[p.GetNumber()].shown(); !proto.Equal(p, now) {
		w.t.Fatalf("answered %v, and it is %v", p, now)
	}
}

func (w *world) names() []string {
	return rapid.SliceOfNDistinct(rapid.SampledFrom([]string{"line-1", "line-2", "line-3"}), 0, 2, rapid.ID).Draw(w.t, "names")
}

func (w *world) order() string {
	return orderName(rapid.Uint64Range(1, max(1, w.st.placed)).Draw(w.t, "order"))
}

func (w *world) orderLines(most int) []*inventoryv1.OrderLine {
	var lines []*inventoryv1.OrderLine
	for range rapid.IntRange(1, most).Draw(w.t, "order lines") {
		l := &inventoryv1.OrderLine{Part: w.part(), Quantity: w.some()}
		if days := rapid.IntRange(-2, 20).Draw(w.t, "days"); days != 0 {
			l.Expected = timestamppb.New(w.now.AddDate(0, 0, days))
		}
		lines = append(lines, l)
	}
	return lines
}

// ask holds parts beside the plan, some with an end of their own.
func (w *world) ask() error {
	req := &inventoryv1.HoldPartsRequest{Job: w.job(), Partial: rapid.Bool().Draw(w.t, "partial")}
	for _, number := range rapid.SliceOfNDistinct(rapid.SampledFrom(worldParts), 1, 2, rapid.ID).Draw(w.t, "asked") {
		req.Lines = append(req.Lines, &inventoryv1.WantedPart{Part: number, Quantity: w.some()})
	}
	if rapid.Bool().Draw(w.t, "with an end") {
		req.ExpiresAt = timestamppb.New(w.now.Add(time.Duration(rapid.IntRange(1, 72).Draw(w.t, "hours to live")) * time.Hour))
	}
	return run(w, holdParts, req)
}

func (w *world) deliver() error {
	req := &inventoryv1.ReceiveGoodsRequest{}
	if w.st.placed > 0 && rapid.Bool().Draw(w.t, "on an order") {
		req.Order = w.order()
	}
	for range rapid.IntRange(1, 2).Draw(w.t, "deliveries") {
		quantity := w.some()
		l := &inventoryv1.ReceivedLine{Part: w.part(), Quantity: quantity, Damaged: rapid.Int64Range(0, quantity).Draw(w.t, "damaged"), SendBack: rapid.Int64Range(0, 1).Draw(w.t, "over")}
		if cost := rapid.Int64Range(0, 999).Draw(w.t, "cost"); cost > 0 {
			l.Cost = euros(cost)
		}
		req.Lines = append(req.Lines, l)
	}
	return run(w, receiveGoods, req)
}

// Whatever happens in whatever order: on hand is the sum of the movements, never
// more is held than there is, nobody waits for what lies free, the first in the
// queue is served first, and every promise of a date is covered by an order.
func TestAnythingInAnyOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := &world{site: newSite(t), t: t, revisions: map[string]uint32{}}
		w.list(worldParts...)
		// One part has a deposit on its old unit.
		deposited := aPart("BB")
		deposited.Deposit = euros(1500)
		must(w.site, setPart, &inventoryv1.SetPartRequest{Part: deposited})
		// A superseded part makes some lines change their part.
		successor := aPart("DD")
		successor.Supersedes = "AA"
		must(w.site, setPart, &inventoryv1.SetPartRequest{Part: successor})
		for range rapid.IntRange(1, 40).Draw(t, "steps") {
			switch rapid.IntRange(0, 9).Draw(t, "what") {
			case 0:
				w.passes(time.Duration(rapid.IntRange(1, 10*24).Draw(t, "hours")) * time.Hour)
			case 1, 2, 3, 4:
				w.hear()
			default:
				w.command()
			}
			w.audit()
		}
		w.rebuilds()
	})
}

// rebuilds checks that the history alone gives the same state again, and that
// not even between two events more is held than there is.
func (w *world) rebuilds() {
	other := newSite(w.t)
	for i, m := range w.history {
		evolve(other.st, sitelog.Event{Message: m, Number: w.events[i].Number, Time: w.now})
		auditSteps(w.t, other.st, w.history[:i+1])
	}
	for number, p := range w.st.parts {
		if !proto.Equal(p.shown(), other.st.parts[number].shown()) {
			w.t.Fatalf("rebuilt, %s is %v, and was %v", number, other.st.parts[number].shown(), p.shown())
		}
	}
}
