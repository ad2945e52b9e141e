package invariants

import (
	"fmt"
	"slices"

	"google.golang.org/protobuf/proto"

	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

// upTo gives every event of a log as far as it was read.
func upTo(log []Commit, sequence uint64, fn func(proto.Message)) {
	for _, c := range log {
		if c.Sequence > sequence {
			return
		}
		for _, events := range c.Events {
			for _, m := range events {
				fn(m)
			}
		}
	}
}

// unmetShelf lists what inventory's log says against an invoice: lines neither
// issued nor given up, and parts at the car that the plan does not have.
func (c *car) unmetShelf(logs Logs, read uint64) []string {
	var hold *inventoryv1.Hold
	upTo(logs["inventory"], read, func(m proto.Message) {
		if of, ok := m.(interface{ GetHold() *inventoryv1.Hold }); ok && of.GetHold().GetJob() == c.job {
			hold = of.GetHold()
		}
	})
	var list []string
	if hold.GetPlanRevision() < c.plan.GetRevision() {
		list = append(list, fmt.Sprintf("inventory knows plan %d, and it is %d", hold.GetPlanRevision(), c.plan.GetRevision()))
	}
	for _, l := range hold.GetLines() {
		switch l.GetState() {
		case inventoryv1.LineState_LINE_STATE_HELD, inventoryv1.LineState_LINE_STATE_SHORT:
			list = append(list, "line "+l.GetLine()+" is open")
		case inventoryv1.LineState_LINE_STATE_ISSUED:
			if !slices.ContainsFunc(c.plan.GetParts(), func(w *jobv1.PartWanted) bool { return w.GetLine() == l.GetLine() }) {
				list = append(list, "line "+l.GetLine()+" was issued in vain")
			}
		case inventoryv1.LineState_LINE_STATE_UNSPECIFIED, inventoryv1.LineState_LINE_STATE_RETURNED, inventoryv1.LineState_LINE_STATE_RELEASED:
		}
	}
	return list
}

// unmetSheet lists what the audit's log says against an invoice.
func (c *car) unmetSheet(logs Logs, read uint64) []string {
	complete, revision := false, uint32(0)
	upTo(logs["torque-audit"], read, func(m proto.Message) {
		of, ok := m.(interface{ GetJob() string })
		if !ok || of.GetJob() != c.job {
			return
		}
		switch m := m.(type) {
		case *torqueauditv1.SheetOpened:
			complete = false
		case *torqueauditv1.SheetRevised:
			complete = false
		case *torqueauditv1.SheetReopened:
			complete = false
		case *torqueauditv1.SheetVoided:
			complete = false
		case *torqueauditv1.SheetCompleted:
			complete, revision = true, m.GetPlanRevision()
		}
	})
	if !complete || revision < c.plan.GetRevision() {
		return []string{fmt.Sprintf("the sheet is not complete for plan %d", c.plan.GetRevision())}
	}
	return nil
}
