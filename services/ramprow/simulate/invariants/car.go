package invariants

import (
	"fmt"
	"time"

	"google.golang.org/protobuf/proto"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

// car is what its job's log says about it, kept in the simplest way.
type car struct {
	job        string
	plan       *jobv1.Plan
	done       map[string]bool
	authorised int64
	tools      map[string]bool
	pieces     map[string]int // came off and is not back
	debris     map[string]bool
	finished   time.Time
	cleared    time.Time
	driven     time.Time
	passed     bool
	reports    []*jobv1.CodeReport
	closed     bool
}

func newCar(job string) *car {
	return &car{job: job, done: map[string]bool{}, tools: map[string]bool{}, pieces: map[string]int{}, debris: map[string]bool{}}
}

func (c *car) apply(m proto.Message, at time.Time) {
	switch m := m.(type) {
	case *jobv1.DiagnosisConfirmed:
		c.replan(m.GetPlan())
	case *jobv1.PlanRevised:
		c.replan(m.GetPlan())
	case *jobv1.WorkAuthorised:
		c.authorised = max(c.authorised, m.GetAuthorisation().GetUpTo().GetMinorUnits())
	case *jobv1.StepDone:
		c.done[m.GetStep()] = true
	case *jobv1.WorkFinished:
		c.finished = at
	case *jobv1.ToolPutOn:
		c.tools[m.GetTool().GetTool()] = true
	case *jobv1.ToolTakenOff:
		delete(c.tools, m.GetTool())
	case *jobv1.PiecesStowed:
		for _, p := range m.GetPieces() {
			c.pieces[p.GetPiece()] += int(p.GetCount())
		}
	case *jobv1.PiecesRefitted:
		for _, p := range m.GetPieces() {
			c.pieces[p.GetPiece()] -= int(p.GetSettled())
		}
	case *jobv1.PieceExplained:
		c.pieces[m.GetPiece()] -= int(m.GetCount())
	case *jobv1.DebrisNoted:
		c.debris[m.GetDebris().GetFinding()] = true
	case *jobv1.DebrisSettled:
		d := m.GetDebris()
		c.debris[d.GetFinding()] = d.GetFound() < d.GetMissing() && d.GetSignedBy() == ""
	case *jobv1.CodesCleared:
		c.cleared = at
	case *jobv1.CodesRead:
		c.reports = append(c.reports, m.GetReport())
	case *jobv1.RoadTestRecorded:
		c.driven, c.passed = m.GetTest().GetAt().AsTime(), m.GetTest().GetPassed()
	}
}

func (c *car) replan(p *jobv1.Plan) {
	c.plan = p
	if len(c.openSteps()) > 0 {
		c.finished = time.Time{}
	}
}

func (c *car) openSteps() []string {
	var open []string
	for _, s := range c.plan.GetSteps() {
		if !c.done[s.GetId()] {
			open = append(open, s.GetId())
		}
	}
	return open
}

// unmet lists what the job's own log says against an invoice.
func (c *car) unmet() []string {
	if c.plan == nil {
		return []string{"nothing is diagnosed"}
	}
	var list []string
	need := func(ok bool, format string, args ...any) {
		if !ok {
			list = append(list, fmt.Sprintf(format, args...))
		}
	}
	estimate := c.plan.GetLabourEstimate().GetMinorUnits() + c.plan.GetPartsEstimate().GetMinorUnits()
	need(c.authorised >= estimate, "%d of %d are authorised", c.authorised, estimate)
	need(len(c.openSteps()) == 0, "steps are open: %v", c.openSteps())
	need(len(c.tools) == 0, "tools are on the car: %v", c.tools)
	for piece, n := range c.pieces {
		need(n <= 0, "%d × %s are not back", n, piece)
	}
	for finding, open := range c.debris {
		need(!open, "the debris of %s is not settled", finding)
	}
	need(!c.finished.IsZero() && !c.cleared.Before(c.finished), "codes were not cleared after the work")
	need(c.passed && !c.driven.Before(c.cleared), "no road test was passed after clearing")
	need(c.quiet(jobv1.ReadingMoment_READING_MOMENT_AFTER_CLEARING, c.cleared), "codes were not read, or came back, after clearing")
	need(c.quiet(jobv1.ReadingMoment_READING_MOMENT_AFTER_ROAD_TEST, c.driven), "codes were not read, or came back, after driving")
	return list
}

// quiet tells whether the newest reading of a moment since a time shows no present fault.
func (c *car) quiet(moment jobv1.ReadingMoment, since time.Time) bool {
	var newest *jobv1.CodeReport
	for _, r := range c.reports {
		at := r.GetReadAt().AsTime()
		if r.GetMoment() == moment && !at.Before(since) && (newest == nil || !at.Before(newest.GetReadAt().AsTime())) {
			newest = r
		}
	}
	if newest == nil {
		return false
	}
	const present = 0b1111 // ISO 14229-1: failing, failed this cycle, pending, confirmed
	for _, code := range newest.GetCodes() {
		if code.Status == nil || code.GetStatus()&present != 0 {
			return false
		}
	}
	return true
}
