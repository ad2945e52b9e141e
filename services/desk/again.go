package desk

import (
	"ramprow/internal/platform/identity"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

// dueWithinDays is how far ahead the page looks for wrenches that are due.
const dueWithinDays = 30

// againView is what has to be checked again: joints that a failed wrench put in
// doubt, joints that are tried once the car has run, wrenches that are due.
type againView struct {
	LookBacks []*torqueauditv1.LookBack
	Rechecks  []recheckView
	Due       []*torqueauditv1.WrenchDue
	// Wrenches to try a joint with; none for who may not.
	Wrenches []*torqueauditv1.Wrench
	MaySee   bool // the owner says that he knows of a look-back
	More     bool // the lists go on
}

// recheckView is a re-check with the fasteners that are still to be tried.
type recheckView struct {
	*torqueauditv1.JointRecheck

	Left []uint32
}

func (d *Desk) showAgain(v *visit) error {
	backs, err := d.Services.Audit.ListLookBacks(v.ctx, &torqueauditv1.ListLookBacksRequest{PageSize: pageSize, MinRevision: v.at()})
	if err != nil {
		return err
	}
	rechecks, err := d.Services.Audit.ListRechecks(v.ctx, &torqueauditv1.ListRechecksRequest{PageSize: pageSize, MinRevision: v.at()})
	if err != nil {
		return err
	}
	due, err := d.Services.Audit.ListWrenchesDue(v.ctx, &torqueauditv1.ListWrenchesDueRequest{PageSize: pageSize, WithinDays: dueWithinDays, MinRevision: v.at()})
	if err != nil {
		return err
	}
	wrenches, err := d.Services.Audit.ListWrenches(v.ctx, &torqueauditv1.ListWrenchesRequest{PageSize: pageSize})
	if err != nil {
		return err
	}
	view := againView{
		LookBacks: backs.GetLookBacks(), Due: due.GetDue(), Wrenches: wrenches.GetWrenches(), MaySee: v.who.Has(identity.Owner),
		More: backs.GetNextPageToken()+rechecks.GetNextPageToken()+due.GetNextPageToken() != "",
	}
	for _, r := range rechecks.GetRechecks() {
		view.Rechecks = append(view.Rechecks, recheckView{r, leftToTry(r)})
	}
	return v.render("again", view)
}

// leftToTry gives the fasteners that nobody found at rest yet; none once it ended.
func leftToTry(r *torqueauditv1.JointRecheck) []uint32 {
	if r.GetState() != torqueauditv1.RecheckState_RECHECK_STATE_DUE {
		return nil
	}
	tried := map[uint32]bool{}
	for _, x := range r.GetReadings() {
		tried[x.GetFastener()] = tried[x.GetFastener()] || x.GetCounts()
	}
	var left []uint32
	for f := uint32(1); f <= r.GetFasteners(); f++ {
		if !tried[f] {
			left = append(left, f)
		}
	}
	return left
}

func (d *Desk) seeLookBack(v *visit) error {
	r, err := d.Services.Audit.MarkLookBackSeen(v.ctx, &torqueauditv1.MarkLookBackSeenRequest{
		RequestId: v.requestID(), LookBack: "lookbacks/" + v.r.PathValue("lookback"),
	})
	if err != nil {
		return err
	}
	return v.done("/again", "seen", r.GetReceipt())
}

// tryAgain keeps what a wrench found at one fastener once the car has run.
func (d *Desk) tryAgain(v *visit) error {
	fastener, err := v.whole("fastener")
	if err != nil {
		return err
	}
	torque, err := v.decimal("torque")
	if err != nil {
		return err
	}
	odometer, err := v.decimal("odometer")
	if err != nil {
		return err
	}
	if fastener < 1 || fastener > 200 {
		return badField("fastener", "must be one of the joint")
	}
	r, err := d.Services.Audit.PostRecheckReading(v.ctx, &torqueauditv1.PostRecheckReadingRequest{
		RequestId: v.requestID(), Job: v.job(), Joint: v.r.PathValue("joint"), Fastener: uint32(fastener), Wrench: v.form("wrench"),
		TorqueNm: torque, Moved: v.form("moved") != "", OdometerKm: odometer,
	})
	if err != nil {
		return err
	}
	return v.done("/again", "tried", r.GetReceipt())
}

func (d *Desk) waiveRecheck(v *visit) error {
	r, err := d.Services.Audit.WaiveRecheck(v.ctx, &torqueauditv1.WaiveRecheckRequest{
		RequestId: v.requestID(), Job: v.job(), Joint: v.r.PathValue("joint"), Reason: v.form("reason"),
	})
	if err != nil {
		return err
	}
	return v.done("/again", "waived", r.GetReceipt())
}
