package job

import (
	"fmt"
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/sitelog"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// oracle is what a reader of the bare events of one job knows of it. It shares
// no code with the state that it judges.
type oracle struct {
	plan                 *jobv1.Plan
	done                 map[string]bool
	open                 map[string]bool // operations and states
	tools, pieces        map[string]int
	debris               map[string]*jobv1.Debris
	authorised           int64
	parts                *jobv1.PartsStatus
	audit                *jobv1.AuditStatus
	worked, cleared, run time.Time // last step or empty revision, clearing, clean reading after it
	drove, proved        time.Time // good drive, clean reading after it
	over, redesigned     bool
}

// audit reads a site's whole log and says what is wrong with it.
func audit(log []sitelog.Event) string {
	jobs := map[string]*oracle{}
	numbers := map[string]uint64{}
	for _, e := range log {
		m, ok := e.Message.(ofJob)
		if !ok {
			continue
		}
		o := jobs[m.GetJob()]
		if o == nil {
			o = &oracle{done: map[string]bool{}, open: map[string]bool{}, tools: map[string]int{}, pieces: map[string]int{}, debris: map[string]*jobv1.Debris{}}
			jobs[m.GetJob()] = o
		}
		if c, closed := e.Message.(*jobv1.InvoiceClosed); closed {
			if numbers[c.GetSeries()]++; c.GetSequence() != numbers[c.GetSeries()] {
				return fmt.Sprintf("invoice %d of %s is called %s", numbers[c.GetSeries()], c.GetSeries(), c.GetInvoice().GetNumber())
			}
		}
		if wrong := o.read(e.Message, e.Time); wrong != "" {
			return m.GetJob() + ": " + wrong
		}
	}
	return ""
}

func (o *oracle) read(m proto.Message, at time.Time) string {
	switch m := m.(type) {
	case *jobv1.DiagnosisConfirmed:
		o.plan = m.GetPlan()
	case *jobv1.PlanRevised:
		if m.GetPlan().GetRevision() != o.plan.GetRevision()+1 {
			return fmt.Sprintf("revision %d follows %d", m.GetPlan().GetRevision(), o.plan.GetRevision())
		}
		o.plan = m.GetPlan()
		for id := range o.done {
			if o.step(id) == nil {
				return id + " is done and no longer in the plan"
			}
		}
	case *jobv1.WorkAuthorised:
		o.authorised = max(o.authorised, m.GetAuthorisation().GetUpTo().GetMinorUnits())
	case *jobv1.StepStarted:
		if s := o.step(m.GetStep()); s == nil || o.done[m.GetStep()] || o.over {
			return m.GetStep() + " cannot be begun"
		}
		for _, before := range o.step(m.GetStep()).GetAfter() {
			if !o.done[before] {
				return fmt.Sprintf("%s was begun before %s was done", m.GetStep(), before)
			}
		}
	case *jobv1.DesignFound:
		o.redesigned = true // a piece that came off may be one that the car does not have
	case *jobv1.StepDone:
		o.done[m.GetStep()] = true
		return keepsOrder(o.step(m.GetStep()), o.open, o.open)
	case *jobv1.WorkFinished:
		o.worked = at
	case *jobv1.InvoiceClosed:
		o.over = true
		return o.mayClose(m.GetInvoice())
	case *jobv1.JobCancelled:
		o.over = true
	default:
		o.things(m)
		o.proof(m, at)
	}
	return ""
}

func (o *oracle) step(id string) *jobv1.PlannedStep {
	for _, s := range o.plan.GetSteps() {
		if s.GetId() == id {
			return s
		}
	}
	return nil
}

func (o *oracle) things(m proto.Message) {
	switch m := m.(type) {
	case *jobv1.ToolPutOn:
		o.tools[m.GetTool().GetTool()]++
	case *jobv1.ToolTakenOff:
		o.tools[m.GetTool()]--
	case *jobv1.PiecesStowed:
		for _, p := range m.GetPieces() {
			o.pieces[p.GetPiece()] += int(p.GetCount())
		}
	case *jobv1.PiecesRefitted:
		for _, p := range m.GetPieces() {
			// What was explained does not come back; a refit brings the rest.
			o.pieces[p.GetPiece()] = max(0, o.pieces[p.GetPiece()]-int(p.GetCount()))
		}
	case *jobv1.PieceExplained:
		o.pieces[m.GetPiece()] -= int(m.GetCount())
	case *jobv1.DebrisNoted:
		o.debris[m.GetDebris().GetFinding()] = m.GetDebris()
	case *jobv1.DebrisSettled:
		o.debris[m.GetDebris().GetFinding()] = m.GetDebris()
	case *jobv1.PartsNoted:
		o.parts = m.GetStatus()
	case *jobv1.AuditNoted:
		o.audit = m.GetStatus()
	}
}

func (o *oracle) proof(m proto.Message, at time.Time) {
	switch m := m.(type) {
	case *jobv1.CodesCleared:
		o.cleared, o.run, o.drove, o.proved = at, time.Time{}, time.Time{}, time.Time{}
	case *jobv1.RoadTestRecorded:
		o.drove, o.proved = time.Time{}, time.Time{}
		if m.GetTest().GetPassed() {
			o.drove = at
		}
	case *jobv1.CodesRead:
		clean := at
		if len(m.GetReport().GetCodes()) > 0 {
			clean = time.Time{}
		}
		switch m.GetReport().GetMoment() {
		case afterClearing:
			o.run = clean
		case afterDrive:
			o.proved = clean
		default:
		}
	}
}

// mayClose says which condition of the trade was not met.
func (o *oracle) mayClose(i *jobv1.Invoice) string {
	for _, s := range o.plan.GetSteps() {
		if !o.done[s.GetId()] {
			return "closed with the step open: " + s.GetId()
		}
	}
	for tool, n := range o.tools {
		if n != 0 {
			return "closed with a tool on: " + tool
		}
	}
	for piece, n := range o.pieces {
		if n != 0 {
			return fmt.Sprintf("closed with %d of %s not accounted for", n, piece)
		}
	}
	for _, d := range o.debris {
		if d.GetFound() < d.GetMissing() && d.GetSignedBy() == "" {
			return "closed with debris in the engine"
		}
	}
	revision := o.plan.GetRevision()
	switch {
	case len(o.open) > 0 && !o.redesigned:
		return fmt.Sprintf("closed with the car open: %v", o.open)
	case i.GetNet().GetMinorUnits() > o.authorised:
		return fmt.Sprintf("charged %d, authorised %d", i.GetNet().GetMinorUnits(), o.authorised)
	case o.parts.GetPlanRevision() != revision || o.parts.GetOpenLines() > 0:
		return "closed with parts open"
	case o.audit.GetPlanRevision() != revision || o.audit.GetState() != jobv1.AuditState_AUDIT_STATE_COMPLETE:
		return "closed without the audit"
	case o.cleared.Before(o.worked) || o.worked.IsZero():
		return "closed without clearing the codes after the work"
	case o.run.IsZero() || o.drove.IsZero() || o.proved.IsZero() || o.proved.Before(o.drove):
		return "closed without proof by reading and driving"
	}
	return ""
}
