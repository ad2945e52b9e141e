package desk

import (
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

// tightenView is the sheet with the next turn drawn.
type tightenView struct {
	Job      *jobv1.Job
	Sheet    *torqueauditv1.Sheet
	Joint    *torqueauditv1.JointSheet // the one being tightened; nil: nothing is left
	Pattern  *pattern
	Wrenches []*torqueauditv1.Wrench
	// Wrench that was used last here.
	Wrench string
	Last   *torqueauditv1.Reading
	// Turns foretells the rest of this stage, for a browser without network, as JSON.
	Turns string
}

func (d *Desk) showTighten(v *visit) error {
	sheet, err := d.Services.Audit.GetSheet(v.ctx, &torqueauditv1.GetSheetRequest{Job: v.job(), MinRevision: v.at()})
	if err != nil {
		return err
	}
	job, err := d.Services.Job.GetJob(v.ctx, &jobv1.GetJobRequest{Job: v.job()})
	if err != nil {
		return err
	}
	wrenches, err := d.Services.Audit.ListWrenches(v.ctx, &torqueauditv1.ListWrenchesRequest{PageSize: pageSize})
	if err != nil {
		return err
	}
	view := tightenView{Job: job.GetJob(), Sheet: sheet.GetSheet(), Wrenches: wrenches.GetWrenches()}
	view.Joint = chooseJoint(view.Sheet, v.r.URL.Query().Get("joint"))
	if view.Joint != nil {
		catalogue, err := d.vehicles.edition(v.ctx, v.who.Site, view.Job.GetPlan().GetCatalogueVersion())
		if err != nil {
			return err
		}
		view.Pattern = patternOf(view.Joint, catalogue)
		if view.Turns, err = foretell(view.Joint); err != nil {
			return err
		}
		if n := len(view.Joint.GetReadings()); n > 0 {
			view.Last = view.Joint.GetReadings()[n-1]
			view.Wrench = view.Last.GetWrench()
		}
	}
	return v.render("tighten", view)
}

// chooseJoint gives the joint asked for, else the one begun, else the first that is open.
func chooseJoint(sheet *torqueauditv1.Sheet, asked string) *torqueauditv1.JointSheet {
	var first *torqueauditv1.JointSheet
	for _, j := range sheet.GetJoints() {
		open := j.GetState() == torqueauditv1.JointState_JOINT_STATE_OPEN
		switch {
		case asked != "" && j.GetDue().GetJoint() == asked:
			return j
		case asked == "" && open && len(j.GetReadings()) > 0:
			return j
		case first == nil && open:
			first = j
		}
	}
	return first
}

// turn is a fastener to come with what to say of it.
type turn struct {
	Fastener uint32 `json:"fastener"`
	Stage    uint32 `json:"stage"`
	Say      string `json:"say"`
}

// foretell gives the turns of the present stage and round in their order, from
// the next one on, as they come if every reading is good. The audit decides anew
// when the readings arrive.
func foretell(j *torqueauditv1.JointSheet) (string, error) {
	next := j.GetNext()
	turns := []turn{}
	order := j.GetDue().GetOrder()
	begun := false
	subset := next.GetSpec().GetFasteners()
	for _, fastener := range order {
		if len(subset) > 0 && !slices.Contains(subset, fastener) {
			continue
		}
		begun = begun || fastener == next.GetFastener()
		if begun && len(turns) < int(next.GetLeft()) {
			turns = append(turns, turn{Fastener: fastener, Stage: next.GetStage(), Say: sayTurn(fastener, next.GetSpec())})
		}
	}
	data, err := json.Marshal(turns)
	return string(data), err
}

func sayTurn(fastener uint32, s *cataloguev1.Stage) string {
	if s.GetTorqueNm() > 0 {
		return fmt.Sprintf("%d: %g N·m", fastener, s.GetTorqueNm())
	}
	if s.GetAngleDeg() > 0 {
		return fmt.Sprintf("%d: %g°", fastener, s.GetAngleDeg())
	}
	return fmt.Sprint(fastener)
}

func (d *Desk) postReading(v *visit) error {
	fastener, err := v.whole("fastener")
	if err != nil {
		return err
	}
	stage, err := v.whole("stage")
	if err != nil {
		return err
	}
	torque, err := v.decimal("torque")
	if err != nil {
		return err
	}
	angle, err := v.decimal("angle")
	if err != nil {
		return err
	}
	if fastener < 1 || fastener > 200 || stage < 0 || stage > 50 {
		return badField("fastener", "must be one of the joint")
	}
	at, err := readAt(v)
	if err != nil {
		return err
	}
	r, err := d.Services.Audit.PostReading(v.ctx, &torqueauditv1.PostReadingRequest{
		RequestId: v.requestID(), Job: v.job(), Joint: v.form("joint"), Fastener: uint32(fastener), Stage: uint32(stage),
		Wrench: v.form("wrench"), TorqueNm: torque, AngleDeg: angle, Moved: v.form("moved") != "", At: at,
	})
	if err != nil {
		return err
	}
	return v.done("/work/"+v.r.PathValue("job")+"/tighten", "reading", r.GetReceipt())
}

// readAt gives the browser's own time of a reading that waited for the network.
func readAt(v *visit) (*timestamppb.Timestamp, error) {
	text := v.form("at")
	if text == "" {
		return nil, nil
	}
	at, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return nil, badField("at", "must be a time by RFC 3339")
	}
	if at.After(v.d.Now()) { // The browser's clock is fast: it was read before it arrived.
		at = v.d.Now()
	}
	return timestamppb.New(at), nil
}

func (d *Desk) signSheet(v *visit) error {
	_, err := d.Services.Audit.SignSheet(v.ctx, &torqueauditv1.SignSheetRequest{RequestId: v.requestID(), Job: v.job()})
	if err != nil {
		return err
	}
	return v.done("/work/"+v.r.PathValue("job"), "signed", nil)
}
