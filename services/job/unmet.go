package job

import (
	"fmt"
	"slices"
	"strings"
	"time"

	commonv1 "ramprow/proto/ramprow/common/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// unmet lists every condition that keeps the invoice from being closed, in the
// order in which a workshop meets them.
func (j *Job) unmet() []*jobv1.UnmetCondition {
	if j.Plan == nil {
		return []*jobv1.UnmetCondition{condition("DIAGNOSIS_MISSING", j.Name, technician, "the technician confirms what is broken")}
	}
	var list []*jobv1.UnmetCondition
	list = append(list, j.unmetWork()...)
	list = append(list, j.unmetAudit()...)
	list = append(list, j.unmetThings()...)
	return append(list, j.unmetProof()...)
}

const (
	technician = commonv1.Role_ROLE_TECHNICIAN
	dispatcher = commonv1.Role_ROLE_DISPATCHER
	clerk      = commonv1.Role_ROLE_PARTS_CLERK
)

func condition(kind, subject string, who commonv1.Role, text string, args ...any) *jobv1.UnmetCondition {
	return &jobv1.UnmetCondition{Type: kind, Subject: subject, Who: who, Description: fmt.Sprintf(text, args...)}
}

func (j *Job) unmetWork() []*jobv1.UnmetCondition {
	var list []*jobv1.UnmetCondition
	if have, want := j.authorised(), j.estimate(); have < want {
		list = append(list, condition("AUTHORITY_SHORT", j.Name, dispatcher,
			"the customer has authorised %s of %s; the dispatcher asks again", amount(have, j.currency()), amount(want, j.currency())))
	}
	if open := j.openSteps(); open > 0 {
		list = append(list, condition("STEPS_OPEN", j.Name, technician, "%d of %d steps are not done; the technician finishes them", open, len(j.Plan.GetSteps())))
	}
	return append(list, j.unmetParts()...)
}

// unmetParts: what is held must go to the car or back on the shelf, and what was
// issued must be in the plan, since only that is charged.
func (j *Job) unmetParts() []*jobv1.UnmetCondition {
	hold := "holds/" + numberOf(j.Name)
	if j.Parts.GetPlanRevision() < j.Plan.GetRevision() {
		return []*jobv1.UnmetCondition{condition("PARTS_OPEN", hold, clerk, "inventory has not answered the present plan yet; the parts clerk looks at the hold")}
	}
	var list []*jobv1.UnmetCondition
	if n := j.Parts.GetOpenLines(); n > 0 {
		list = append(list, condition("PARTS_OPEN", hold, clerk, "lines neither issued nor released: %d; the parts clerk settles them", n))
	}
	if extra := j.issuedInVain(); len(extra) > 0 {
		list = append(list, condition("PARTS_NOT_RETURNED", hold, clerk, "issued, but not for this work any more: %s; the parts clerk takes them back", strings.Join(extra, ", ")))
	}
	return list
}

// issuedInVain lists lines at the car that the plan no longer has.
func (j *Job) issuedInVain() []string {
	var lines []string
	for _, id := range j.Parts.GetIssuedLines() {
		if !slices.ContainsFunc(j.Plan.GetParts(), func(l *jobv1.PartWanted) bool { return l.GetLine() == id }) {
			lines = append(lines, id)
		}
	}
	return lines
}

func (j *Job) openSteps() int {
	open := 0
	for _, s := range j.Plan.GetSteps() {
		if !j.stepDone(s.GetId()) {
			open++
		}
	}
	return open
}

func (j *Job) unmetAudit() []*jobv1.UnmetCondition {
	sheet := "sheets/" + numberOf(j.Name)
	switch {
	case j.Audit.GetPlanRevision() < j.Plan.GetRevision():
		return []*jobv1.UnmetCondition{condition("AUDIT_INCOMPLETE", sheet, technician, "the tightening audit has not taken up the present plan yet")}
	case j.Audit.GetState() != jobv1.AuditState_AUDIT_STATE_COMPLETE:
		return []*jobv1.UnmetCondition{condition("AUDIT_INCOMPLETE", sheet, technician,
			"%d of %d joints are proved by wrench and the sheet is not signed; the technician completes the audit", j.Audit.GetJointsProved(), j.Audit.GetJoints())}
	}
	return nil
}

// unmetThings is whatever would be left behind on or in the engine.
func (j *Job) unmetThings() []*jobv1.UnmetCondition {
	var list []*jobv1.UnmetCondition
	for _, t := range j.Tools {
		list = append(list, condition("TOOL_ON_CAR", t.GetTool(), technician, "%s is still on the car; the technician takes it off", t.GetTitle()))
	}
	for _, s := range j.Stowed {
		if open := s.GetCount() - s.GetSettled(); open > 0 {
			list = append(list, condition("PIECE_UNACCOUNTED", s.GetPiece(), technician,
				"%d × %s from tray %q are not back; the technician refits or explains them", open, s.GetTitle(), s.GetTray()))
		}
	}
	for _, d := range j.Debris {
		if d.GetFound() < d.GetMissing() && d.GetSignedBy() == "" {
			list = append(list, condition("DEBRIS_OPEN", d.GetPiece(), technician,
				"%d of %d pieces that broke off are not found; the technician finds them or signs for their absence", d.GetMissing()-d.GetFound(), d.GetMissing()))
		}
	}
	return list
}

// unmetProof: clear codes after the work, read again, drive, read again.
func (j *Job) unmetProof() []*jobv1.UnmetCondition {
	if j.FinishedAt.IsZero() || j.ClearedAt.Before(j.FinishedAt) {
		return []*jobv1.UnmetCondition{condition("CODES_NOT_CLEARED", j.Name, technician, "the technician clears the codes after the work")}
	}
	list := j.unmetReading(jobv1.ReadingMoment_READING_MOMENT_AFTER_CLEARING, j.ClearedAt, "after clearing and running")
	driven, passed := j.lastDrive()
	switch {
	case driven.Before(j.ClearedAt):
		return append(list, condition("ROAD_TEST_MISSING", j.Name, technician, "the technician drives the car"))
	case !passed:
		return append(list, condition("ROAD_TEST_FAILED", j.Name, technician, "the last road test failed; the job is not done"))
	}
	return append(list, j.unmetReading(jobv1.ReadingMoment_READING_MOMENT_AFTER_ROAD_TEST, driven, "after the road test")...)
}

func (j *Job) lastDrive() (at time.Time, passed bool) {
	if n := len(j.RoadTests); n > 0 {
		return j.RoadTests[n-1].GetAt().AsTime(), j.RoadTests[n-1].GetPassed()
	}
	return time.Time{}, false
}

// unmetReading wants a reading of a moment, not older than a time, without a code that came back.
func (j *Job) unmetReading(moment jobv1.ReadingMoment, since time.Time, words string) []*jobv1.UnmetCondition {
	var last *jobv1.CodeReport
	for _, r := range j.Reports {
		// A terminal that was out of reach may post an older reading late.
		newest := last == nil || !r.GetReadAt().AsTime().Before(last.GetReadAt().AsTime())
		if r.GetMoment() == moment && !r.GetReadAt().AsTime().Before(since) && newest {
			last = r
		}
	}
	if last == nil {
		return []*jobv1.UnmetCondition{condition("CODES_NOT_READ", j.Name, technician, "the technician reads the codes again %s", words)}
	}
	var back []string
	for _, c := range last.GetCodes() {
		if active(c) {
			back = append(back, c.GetCode())
		}
	}
	if len(back) == 0 {
		return nil
	}
	return []*jobv1.UnmetCondition{condition("CODE_CAME_BACK", strings.Join(back, ","), technician, "%s came back %s; the job is not done", strings.Join(back, ", "), words)}
}

// Status bits of ISO 14229: failing now, failed in this cycle, pending, confirmed.
const activeBits = 0x01 | 0x02 | 0x04 | 0x08

// active reports whether a code speaks of a present fault. Without a status it does.
func active(c *jobv1.CodeReading) bool { return c.Status == nil || c.GetStatus()&activeBits != 0 }
