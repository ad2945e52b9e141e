package job

import (
	"fmt"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

// tell adds an event to the job's story.
func (j *Job) tell(m proto.Message, h happening) {
	j.History = append(j.History, &jobv1.HistoryEntry{
		At:      timestamppb.New(h.at),
		By:      h.by,
		Event:   string(m.ProtoReflect().Descriptor().Name()),
		Text:    j.sentence(m),
		TraceId: h.trace,
		Commit:  h.commit,
	})
}

// sentence says in a few words what an event means to people.
func (j *Job) sentence(m proto.Message) string {
	for _, tell := range []func(proto.Message) string{j.intakeSentence, j.workSentence, thingSentence, newsSentence, endSentence, billingSentence} {
		if text := tell(m); text != "" {
			return text
		}
	}
	return word(string(m.ProtoReflect().Descriptor().Name()), "")
}

func (j *Job) intakeSentence(m proto.Message) string {
	switch m := m.(type) {
	case *jobv1.JobOpened:
		return fmt.Sprintf("opened for %s: %s", m.GetCustomer().GetName(), m.GetComplaint())
	case *jobv1.VehicleReceived:
		return "the car is on the yard"
	case *jobv1.AppointmentChanged:
		return appointmentSentence(m)
	case *jobv1.CodesRead:
		return fmt.Sprintf("codes read %s: %s", word(m.GetReport().GetMoment().String(), "READING_MOMENT_"), codeList(m.GetReport()))
	case *jobv1.SymptomNoted:
		if m.GetNote().GetPresent() {
			return "symptom: " + m.GetNote().GetSymptom()
		}
		return "no such symptom: " + m.GetNote().GetSymptom()
	case *jobv1.TestRecorded:
		return fmt.Sprintf("test %s: %s", m.GetRecord().GetTest(), word(m.GetRecord().GetOutcome().String(), "TEST_OUTCOME_"))
	case *jobv1.EvidenceWithdrawn:
		return fmt.Sprintf("evidence %s%s withdrawn: %s", m.GetSymptom(), m.GetTest(), m.GetReason())
	case *jobv1.AuthorityAsked:
		return fmt.Sprintf("the customer is to be asked for %s, %s are authorised: %s",
			amount(m.GetEstimate().GetMinorUnits(), m.GetEstimate().GetCurrencyCode()),
			amount(m.GetAuthorised().GetMinorUnits(), m.GetAuthorised().GetCurrencyCode()), m.GetReason())
	case *jobv1.WorkAuthorised:
		a := m.GetAuthorisation()
		return fmt.Sprintf("%s authorised up to %s (%s)", a.GetGivenBy(), amount(a.GetUpTo().GetMinorUnits(), a.GetUpTo().GetCurrencyCode()), a.GetHow())
	}
	return ""
}

func appointmentSentence(m *jobv1.AppointmentChanged) string {
	const clockLayout = "Mon 2 Jan 15:04 UTC" // a job knows of no zone
	text := fmt.Sprintf("appointment changed (%s): priority %d", m.GetReason(), m.GetPriority())
	if m.GetExpectedAt() != nil {
		text += ", comes " + m.GetExpectedAt().AsTime().Format(clockLayout)
	}
	if m.GetWantedBy() != nil {
		text += ", wanted by " + m.GetWantedBy().AsTime().Format(clockLayout)
	}
	return text
}

func codeList(r *jobv1.CodeReport) string {
	if len(r.GetCodes()) == 0 {
		return "none"
	}
	codes := make([]string, len(r.GetCodes()))
	for i, c := range r.GetCodes() {
		codes[i] = c.GetCode()
	}
	return strings.Join(codes, ", ")
}

func (j *Job) workSentence(m proto.Message) string {
	switch m := m.(type) {
	case *jobv1.DiagnosisConfirmed:
		return fmt.Sprintf("diagnosis confirmed: %s; %d steps, %s", strings.Join(m.GetCauses(), ", "), len(m.GetPlan().GetSteps()), about(m.GetPlan().GetEffort().GetP50().AsDuration()))
	case *jobv1.PlanRevised:
		return fmt.Sprintf("plan revised (%s): %s left, %s against before", m.GetReason(), about(m.GetPlan().GetEffort().GetP50().AsDuration()), signed(m.GetChange().AsDuration()))
	case *jobv1.StepStarted:
		return "begun: " + m.GetTitle()
	case *jobv1.StepPaused:
		return "paused: " + orElse(j.step(m.GetStep()).GetTitle(), m.GetStep())
	case *jobv1.StepResumed:
		return "resumed: " + orElse(j.step(m.GetStep()).GetTitle(), m.GetStep())
	case *jobv1.StepDone:
		return fmt.Sprintf("done: %s, %s", m.GetTitle(), about(m.GetWorked().AsDuration()))
	case *jobv1.WorkFinished:
		return "all work done, " + about(m.GetWorked().AsDuration())
	}
	return ""
}

func thingSentence(m proto.Message) string {
	switch m := m.(type) {
	case *jobv1.FindingReported:
		f := m.GetFinding()
		return strings.TrimSpace(fmt.Sprintf("found: %s %s%s%s %s", word(f.GetKind().String(), "FINDING_KIND_"), f.GetFeature(), f.GetPiece(), f.GetCause(), f.GetNote()))
	case *jobv1.DesignFound:
		return fmt.Sprintf("%s is %s", m.GetTitle(), m.GetValue())
	case *jobv1.PiecesStowed:
		return "in the tray: " + pieceList(m.GetPieces())
	case *jobv1.PiecesRefitted:
		return "back on the car: " + pieceList(m.GetPieces())
	case *jobv1.PieceExplained:
		return fmt.Sprintf("%d × %s explained by %s: %s", m.GetCount(), m.GetPiece(), m.GetSignedBy(), m.GetExplanation())
	case *jobv1.DebrisNoted:
		return fmt.Sprintf("%d pieces of %s are loose in the engine", m.GetDebris().GetMissing(), m.GetDebris().GetPiece())
	case *jobv1.DebrisSettled:
		return fmt.Sprintf("%d of %d pieces of %s found %s", m.GetDebris().GetFound(), m.GetDebris().GetMissing(), m.GetDebris().GetPiece(), m.GetDebris().GetExplanation())
	case *jobv1.ToolPutOn:
		return "on the car: " + m.GetTool().GetTitle()
	case *jobv1.ToolTakenOff:
		return "off the car: " + m.GetTool()
	}
	return ""
}

func pieceList(pieces []*jobv1.Stowed) string {
	names := make([]string, len(pieces))
	for i, p := range pieces {
		names[i] = fmt.Sprintf("%d × %s", p.GetCount(), p.GetTitle())
	}
	return strings.Join(names, ", ")
}

func newsSentence(m proto.Message) string {
	switch m := m.(type) {
	case *jobv1.PartsNoted:
		text := "parts " + partsWord(m.GetStatus().GetState())
		if short := m.GetStatus().GetShortParts(); len(short) > 0 {
			text += ": " + strings.Join(short, ", ")
		}
		return text
	case *jobv1.BookingNoted:
		b := m.GetStatus()
		if b.GetWhen() == nil {
			return "no bay yet: " + b.GetWaitingFor()
		}
		return fmt.Sprintf("%s with %s from %s", b.GetBay(), b.GetTechnician(), b.GetWhen().GetStart().AsTime().Format("Mon 15:04"))
	case *jobv1.AuditNoted:
		text := fmt.Sprintf("tightening audit %s, %d of %d joints", auditWord(m.GetStatus().GetState()), m.GetStatus().GetJointsProved(), m.GetStatus().GetJoints())
		for _, r := range m.GetStatus().GetRechecks() {
			text += "; " + r.GetTitle() + " is checked again: " + r.GetSays()
		}
		return text
	}
	return ""
}

func endSentence(m proto.Message) string {
	switch m := m.(type) {
	case *jobv1.CodesCleared:
		return "codes cleared"
	case *jobv1.RoadTestRecorded:
		if m.GetTest().GetPassed() {
			return fmt.Sprintf("road test passed, %.1f km", m.GetTest().GetDistanceKm())
		}
		return "road test failed: " + m.GetTest().GetNote()
	case *jobv1.InvoiceClosed:
		i := m.GetInvoice()
		return fmt.Sprintf("invoice %s over %s", i.GetNumber(), amount(i.GetGross().GetMinorUnits(), i.GetGross().GetCurrencyCode()))
	case *jobv1.PaymentRecorded:
		return fmt.Sprintf("paid %s by %s", amount(m.GetAmount().GetMinorUnits(), m.GetAmount().GetCurrencyCode()), m.GetHow())
	case *jobv1.JobCancelled:
		return "cancelled: " + m.GetReason()
	}
	return ""
}

// about gives a duration to the minute.
func about(d time.Duration) string { return fmt.Sprintf("%d min", wholeMinutes(d)) }

func signed(d time.Duration) string { return fmt.Sprintf("%+d min", wholeMinutes(d)) }
