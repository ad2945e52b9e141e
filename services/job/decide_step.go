package job

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// clockTolerance is how far a terminal's clock may run ahead.
const clockTolerance = 2 * time.Minute

func (j *Job) plannedStep(id string) (*jobv1.PlannedStep, error) {
	if j.Plan == nil {
		return nil, notDiagnosed(j)
	}
	if s := j.step(id); s != nil {
		return s, nil
	}
	return nil, fault.New(fault.NotFound, "STEP_NOT_FOUND",
		"%s has no step %s; 'ramprow job steps %s' lists them", j.Name, id, numberOf(j.Name)).With("step", id)
}

func startStep(j *Job, req *jobv1.StartStepRequest) ([]proto.Message, error) {
	s, err := j.plannedStep(req.GetStep())
	if err != nil {
		return nil, err
	}
	switch j.Progress[s.GetId()].State {
	case jobv1.StepState_STEP_STATE_STARTED:
		return nil, nil
	case jobv1.StepState_STEP_STATE_PAUSED:
		return nil, fault.New(fault.Precondition, "STEP_PAUSED", "%s is paused; resume it", s.GetTitle())
	case jobv1.StepState_STEP_STATE_DONE:
		return nil, fault.New(fault.Precondition, "STEP_DONE", "%s is done already", s.GetTitle())
	case jobv1.StepState_STEP_STATE_UNSPECIFIED, jobv1.StepState_STEP_STATE_PLANNED, jobv1.StepState_STEP_STATE_DROPPED:
	}
	if unmet := j.beforeStart(s); len(unmet) > 0 {
		refusal := fault.New(fault.Precondition, "STEP_NOT_READY", "%s cannot begin yet: %s", s.GetTitle(), unmet[0].Description)
		refusal.Unmet = unmet
		return nil, refusal
	}
	return []proto.Message{&jobv1.StepStarted{
		Job: j.Name, Step: s.GetId(), Title: s.GetTitle(), Phase: s.GetPhase(), First: len(j.Progress) == 0,
	}}, nil
}

// beforeStart lists what keeps a step from beginning.
func (j *Job) beforeStart(s *jobv1.PlannedStep) []fault.Unmet {
	var unmet []fault.Unmet
	add := func(kind, subject, text string, args ...any) {
		unmet = append(unmet, fault.Unmet{Type: kind, Subject: subject, Description: fmt.Sprintf(text, args...)})
	}
	if have, want := j.authorised(), j.estimate(); have < want {
		add("AUTHORITY_SHORT", j.Name, "the customer has authorised %s of %s; the dispatcher asks", amount(have, j.currency()), amount(want, j.currency()))
	}
	if !j.Received {
		add("VEHICLE_NOT_HERE", j.Name, "the car is not on the yard; receive it first")
	}
	if !j.booked() {
		add("BAY_NOT_BOOKED", j.Name, "no bay is booked: %s", orElse(j.Booking.GetWaitingFor(), "scheduling has not answered yet"))
	}
	if missing := j.missing(s); len(missing) > 0 {
		add("STEPS_BEFORE", s.GetId(), "first: %s", strings.Join(j.titles(missing), ", "))
	}
	if len(s.GetPartLines()) > 0 && !j.issued(s.GetPartLines()) {
		add("PARTS_NOT_ISSUED", j.Name, "its parts are not here; the parts clerk issues them with 'ramprow parts issue %s'", numberOf(j.Name))
	}
	for _, feature := range j.undecided(s) {
		add("DESIGN_UNKNOWN", s.GetId(), "say first which %s the car has: 'ramprow job design %s %s VALUE'", feature, numberOf(j.Name), feature)
	}
	return unmet
}

func (j *Job) booked() bool { return j.Booking.GetBooking() != "" && j.Booking.GetWhen() != nil }

// issued reports whether the parts clerk has handed every line over.
func (j *Job) issued(lines []string) bool {
	return !slices.ContainsFunc(lines, func(l string) bool { return !slices.Contains(j.Parts.GetIssuedLines(), l) })
}

// undecided lists the designs on which a step's parts or joints still hang.
func (j *Job) undecided(s *jobv1.PlannedStep) []string {
	var features []string
	note := func(feature string) {
		if feature != "" && !slices.Contains(features, feature) {
			features = append(features, feature)
		}
	}
	for _, l := range j.Plan.GetParts() {
		if l.GetForStep() == s.GetId() {
			note(l.GetFeature())
		}
	}
	for _, due := range j.Plan.GetJoints() {
		if due.GetForStep() == s.GetId() {
			for _, d := range due.GetDesigns() {
				note(d.GetFeature())
			}
		}
	}
	return features
}

func (j *Job) titles(steps []string) []string {
	titles := make([]string, len(steps))
	for i, id := range steps {
		titles[i] = orElse(j.step(id).GetTitle(), id)
	}
	return titles
}

func orElse(text, otherwise string) string {
	if text == "" {
		return otherwise
	}
	return text
}

// running finds a step that is in the wanted state.
func (j *Job) running(id string, want jobv1.StepState) (*jobv1.PlannedStep, error) {
	s, err := j.plannedStep(id)
	if err != nil {
		return nil, err
	}
	if state := j.Progress[id].State; state != want {
		return nil, fault.New(fault.Precondition, "STEP_STATE", "%s is %s, so this cannot be done now", s.GetTitle(), stepWord(state)).
			With("step", id).With("state", state.String())
	}
	return s, nil
}

func pauseStep(j *Job, in sitelog.Input, req *jobv1.PauseStepRequest) ([]proto.Message, error) {
	if _, err := j.running(req.GetStep(), jobv1.StepState_STEP_STATE_STARTED); err != nil {
		return nil, err
	}
	return []proto.Message{&jobv1.StepPaused{
		Job: j.Name, Step: req.GetStep(), Reason: req.GetReason(), Worked: durationpb.New(j.Progress[req.GetStep()].workedUntil(in.Now)),
	}}, nil
}

func resumeStep(j *Job, req *jobv1.ResumeStepRequest) ([]proto.Message, error) {
	if _, err := j.running(req.GetStep(), jobv1.StepState_STEP_STATE_PAUSED); err != nil {
		return nil, err
	}
	return []proto.Message{&jobv1.StepResumed{Job: j.Name, Step: req.GetStep()}}, nil
}

// finishStep says all that a finished step means: pieces that moved, tools that
// went on or came off, and with the last one that the work is finished.
func finishStep(j *Job, in sitelog.Input, req *jobv1.FinishStepRequest) ([]proto.Message, error) {
	s, err := j.running(req.GetStep(), jobv1.StepState_STEP_STATE_STARTED)
	if err != nil {
		return nil, err
	}
	worked := j.Progress[s.GetId()].workedUntil(in.Now)
	if req.GetWorked() != nil {
		worked = req.GetWorked().AsDuration()
	}
	after := j.clone()
	done := &jobv1.StepDone{
		Job: j.Name, Step: s.GetId(), Title: s.GetTitle(), Phase: s.GetPhase(), Worked: durationpb.New(worked),
		Joints: s.GetJoints(), Note: req.GetNote(), Source: s.GetSource(),
	}
	after.apply(done, happening{at: in.Now})
	done.Left = after.left()
	events := append([]proto.Message{done}, moves(j, s, req.GetTray())...)
	events = append(events, toolMoves(j, s, in.Now)...)
	if after.allDone() {
		events = append(events, &jobv1.WorkFinished{Job: j.Name, Worked: durationpb.New(after.totalWorked())})
	}
	return events, nil
}

func (j *Job) totalWorked() time.Duration {
	var sum time.Duration
	for _, p := range j.Progress {
		sum += p.Worked
	}
	return sum
}

// moves says where the step's pieces are now.
func moves(j *Job, s *jobv1.PlannedStep, tray string) []proto.Message {
	var pieces []*jobv1.Stowed
	for _, m := range s.GetPieces() {
		piece := &jobv1.Stowed{Piece: m.GetPiece(), Title: m.GetTitle(), Count: m.GetCount()}
		if s.GetKind() == jobv1.PlannedStep_KIND_TAKE_OFF {
			piece.Tray, piece.State = orElse(tray, trayName(j, s)), jobv1.StowState_STOW_STATE_IN_TRAY
			piece.MustRenew = m.GetFate() == cataloguev1.Piece_FATE_RENEW
		} else {
			piece.Settled, piece.State = m.GetCount(), jobv1.StowState_STOW_STATE_REFITTED
			if m.GetFate() == cataloguev1.Piece_FATE_RENEW {
				piece.State = jobv1.StowState_STOW_STATE_RENEWED
			}
		}
		pieces = append(pieces, piece)
	}
	switch {
	case len(pieces) == 0:
		return nil
	case s.GetKind() == jobv1.PlannedStep_KIND_TAKE_OFF:
		return []proto.Message{&jobv1.PiecesStowed{Job: j.Name, Pieces: pieces, Step: s.GetId()}}
	}
	return []proto.Message{&jobv1.PiecesRefitted{Job: j.Name, Pieces: pieces, Step: s.GetId()}}
}

// trayName labels a tray by job and step, as in 17 valve-cover.
func trayName(j *Job, s *jobv1.PlannedStep) string {
	name := numberOf(j.Name) + " " + s.GetSource()
	return name[:min(len(name), maxTrayName)]
}

const maxTrayName = 40

func toolMoves(j *Job, s *jobv1.PlannedStep, now time.Time) []proto.Message {
	var events []proto.Message
	for _, id := range s.GetToolsPutOn() {
		tool := &jobv1.ToolOnCar{Tool: id, Title: id, Step: s.GetId(), PutOnAt: timestamppb.New(now)}
		if i := slices.IndexFunc(j.Plan.GetTools(), func(n *jobv1.ToolNeed) bool { return n.GetTool() == id }); i >= 0 {
			tool.Title, tool.MustComeOff = j.Plan.GetTools()[i].GetTitle(), j.Plan.GetTools()[i].GetMustComeOff()
		}
		events = append(events, &jobv1.ToolPutOn{Job: j.Name, Tool: tool})
	}
	for _, id := range s.GetToolsTakenOff() {
		events = append(events, &jobv1.ToolTakenOff{Job: j.Name, Tool: id, Step: s.GetId()})
	}
	return events
}
