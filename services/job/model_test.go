package job

import (
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	"ramprow/internal/catalogue"
	"ramprow/internal/platform/sitelog"
	jobv1 "ramprow/proto/ramprow/job/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

// gate walks one site through any sequence of commands and of what the audit
// says, and keeps by itself, from the messages alone, whether each job's audit is
// finished for the plan that the job has.
type gate struct {
	*site
	jobs    map[string]*sheetModel
	oracles map[string]*oracle
	numbers map[string]uint64
	read    int
	closed  int
}

// sheetModel is a tightening sheet as the model knows it.
type sheetModel struct {
	revision uint32
	complete bool
}

func newGate(t *rapid.T) *gate {
	g := &gate{site: newSite(t), jobs: map[string]*sheetModel{}, oracles: map[string]*oracle{}, numbers: map[string]uint64{}}
	g.sell()
	return g
}

// current is the job at work; a new car comes when the last one is done with.
func (g *gate) current() *Job {
	if j, ok := g.st.jobs[jobName(g.st.lastJob)]; ok && (!j.finished() || len(j.CreditNotes) == 0 && !j.Cancelled) {
		return j
	}
	g.site.open(intake())
	name := jobName(g.st.lastJob)
	g.jobs[name] = &sheetModel{}
	return g.st.jobs[name]
}

// tell has the audit say something of any revision, and the model hear it.
func (g *gate) tell(t *rapid.T) {
	j := g.current()
	revision := j.Plan.GetRevision()
	if rapid.IntRange(0, 3).Draw(t, "stale") == 0 {
		revision -= min(1, revision)
	}
	m := g.jobs[j.Name]
	var said proto.Message
	complete := false
	switch rapid.IntRange(0, 4).Draw(t, "said") {
	case 0:
		said = &torqueauditv1.SheetOpened{Job: j.Name, PlanRevision: revision}
	case 1:
		said = &torqueauditv1.SheetRevised{Job: j.Name, PlanRevision: revision}
	case 2:
		said = &torqueauditv1.SheetReopened{Job: j.Name, PlanRevision: revision, Reason: "the wrench was off", Joints: []string{"cover"}}
	default:
		said, complete = &torqueauditv1.SheetCompleted{Job: j.Name, PlanRevision: revision, Joints: 3}, true
	}
	if revision >= m.revision {
		m.revision, m.complete = revision, complete
	}
	g.hear(said)
}

// help goes on with the work, but leaves the audit to tell.
func (g *gate) help() {
	j := g.current()
	if j.finished() {
		return
	}
	for _, u := range j.unmet() {
		if u.GetType() != "AUDIT_INCOMPLETE" {
			helpWith(g.site, j, u)
		}
	}
}

func (g *gate) attempt(d decision) { _, _ = g.tryAt(g.current().Name, d) }

func (g *gate) after(decide func(j *Job, number string) ([]proto.Message, error)) {
	j := g.current()
	if j.Invoice == nil {
		return
	}
	if events, err := decide(j, j.Invoices[len(j.Invoices)-1].GetNumber()); err == nil {
		g.commit(events)
	}
}

// check reads what was written since the last step, with code of its own.
func (g *gate) check(t *rapid.T) {
	for ; g.read < len(g.log); g.read++ {
		e := g.log[g.read]
		m, ok := e.Message.(ofJob)
		if !ok {
			continue
		}
		if g.oracles[m.GetJob()] == nil {
			g.oracles[m.GetJob()] = &oracle{done: map[string]bool{}, open: map[string]bool{}, tools: map[string]int{}, pieces: map[string]int{}, debris: map[string]*jobv1.Debris{}}
		}
		if wrong := g.oracles[m.GetJob()].read(e.Message, e.Time); wrong != "" {
			t.Fatalf("%s: %s", m.GetJob(), wrong)
		}
		if n, ok := e.Message.(numbered); ok {
			if g.numbers[n.GetSeries()]++; g.numbers[n.GetSeries()] != n.GetSequence() {
				t.Fatalf("number %d of %s comes after %d", n.GetSequence(), n.GetSeries(), g.numbers[n.GetSeries()]-1)
			}
		}
		if _, ok := e.Message.(*jobv1.InvoiceClosed); ok {
			g.closed++
			sheet, plan := g.jobs[m.GetJob()], g.oracles[m.GetJob()].plan
			if !sheet.complete || sheet.revision != plan.GetRevision() {
				t.Fatalf("%s closed while its sheet is %+v and the plan has revision %d", m.GetJob(), *sheet, plan.GetRevision())
			}
		}
	}
}

// atTheGate is more help than a job needs to have all done but its audit.
const atTheGate = 40

// TestNoPathClosesWithAnUnfinishedAudit walks random command sequences. By hand
// it walks longer: -run NoPathCloses -rapid.checks=1200 -rapid.steps=100 are more
// than 100,000 steps.
func TestNoPathClosesWithAnUnfinishedAudit(t *testing.T) {
	steps, closed := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		g := newGate(t)
		count := func(act func(t *rapid.T)) func(*rapid.T) {
			return func(t *rapid.T) {
				steps++
				g.wait(time.Minute)
				act(t)
			}
		}
		help := count(func(*rapid.T) { g.help() })
		helped := rapid.SampledFrom([]int{0, 3, 8, 15, atTheGate}).Draw(t, "helped along")
		for range helped {
			help(t)
		}
		if helped == atTheGate {
			// So near the invoice that most of these walks come to one.
			for range 5 {
				count(g.tell)(t)
				_, _ = g.site.close(g.current().Name)
				g.check(t)
				help(t)
			}
		}
		t.Repeat(map[string]func(*rapid.T){
			"":          g.check,
			"tell":      count(g.tell),
			"tell more": count(g.tell),
			"help":      help,
			"help on":   help,
			"help more": help,
			"close":     count(func(*rapid.T) { _, _ = g.site.close(g.current().Name) }),
			"replan": count(func(t *rapid.T) {
				g.attempt(confirming(rapid.SampledFrom([]string{"coil-4", "plug-1"}).Draw(t, "cause")))
			}),
			"design":    count(func(*rapid.T) { g.attempt(design("bar")) }),
			"authorise": count(func(t *rapid.T) { g.attempt(authorising(rapid.Int64Range(1, 300_000).Draw(t, "up to"))) }),
			"clear":     count(func(*rapid.T) { g.attempt(clearing) }),
			"read":      count(func(*rapid.T) { g.attempt(reading(afterDrive)) }),
			"drive":     count(func(t *rapid.T) { g.attempt(driving(rapid.Bool().Draw(t, "passed"))) }),
			"bill":      count(func(t *rapid.T) { g.attempt(billed(anyBilling(t))) }),
			"bill plain": count(func(*rapid.T) {
				g.attempt(billed(&jobv1.Billing{}))
			}),
			"advance": count(func(*rapid.T) { g.attempt(advancing(payerCustomer, 1_00)) }),
			"cancel": count(func(t *rapid.T) {
				if rapid.IntRange(0, 19).Draw(t, "really") == 0 {
					g.attempt(func(j *Job, _ *catalogue.Catalogue, _ sitelog.Input) ([]proto.Message, error) {
						return cancel(j, &jobv1.CancelJobRequest{Reason: "sold"})
					})
				}
			}),
			"pay": count(func(*rapid.T) {
				g.after(func(j *Job, number string) ([]proto.Message, error) {
					return recordPayment(j, &jobv1.RecordPaymentRequest{Amount: euros(1), Invoice: number, How: "cash"})
				})
			}),
			"credit": count(func(*rapid.T) {
				g.after(func(j *Job, number string) ([]proto.Message, error) {
					events, _, err := creditInvoice(g.st, j, g.input(), &jobv1.CreditInvoiceRequest{Invoice: number, Reason: "agreed"})
					return events, err
				})
			}),
			"correct": count(func(t *rapid.T) {
				b := anyBilling(t)
				g.after(func(j *Job, number string) ([]proto.Message, error) {
					events, _, err := correctInvoice(g.st, j, loaded()[car], g.input(), &jobv1.CorrectInvoiceRequest{Invoice: number, Reason: "wrong", Billing: b})
					return events, err
				})
			}),
			"look back": count(func(*rapid.T) {
				g.after(func(j *Job, _ string) ([]proto.Message, error) {
					return settleLookback(j, g.input(), &jobv1.SettleLookbackRequest{Outcome: 1, Note: "in order"})
				})
			}),
		})
		closed += g.closed
	})
	t.Logf("%d steps, %d invoices closed", steps, closed)
	if !testing.Short() && closed == 0 {
		t.Error("no walk came to an invoice, so nothing was shown")
	}
}
