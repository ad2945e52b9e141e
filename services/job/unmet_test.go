package job

import (
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/catalogue"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

const (
	afterClearing = jobv1.ReadingMoment_READING_MOMENT_AFTER_CLEARING
	afterDrive    = jobv1.ReadingMoment_READING_MOMENT_AFTER_ROAD_TEST
)

// TestConditionsInTheirOrder meets one condition after the other, as a workshop does.
func TestConditionsInTheirOrder(t *testing.T) {
	s := opened(t)
	wantUnmet(t, s, "DIAGNOSIS_MISSING")
	s.do(confirming("follower-4"))
	wantUnmet(t, s, "AUTHORITY_SHORT STEPS_OPEN PARTS_OPEN AUDIT_INCOMPLETE CODES_NOT_CLEARED")
	s.do(authorising(10_000_00))
	s.book()
	s.issueAll()
	wantUnmet(t, s, "STEPS_OPEN AUDIT_INCOMPLETE CODES_NOT_CLEARED")
	s.work(nil)
	wantUnmet(t, s, "AUDIT_INCOMPLETE CODES_NOT_CLEARED")
	s.prove()
	wantUnmet(t, s, "CODES_NOT_CLEARED")
	s.wait(time.Minute).do(clearing)
	wantUnmet(t, s, "CODES_NOT_READ ROAD_TEST_MISSING")
	s.wait(time.Minute).do(reading(afterClearing))
	wantUnmet(t, s, "ROAD_TEST_MISSING")
	s.wait(time.Minute).do(driving(false))
	wantUnmet(t, s, "ROAD_TEST_FAILED")
	s.wait(time.Minute).do(driving(true))
	wantUnmet(t, s, "CODES_NOT_READ")
	s.wait(time.Minute).do(reading(afterDrive))
	wantUnmet(t, s, "")
}

// TestWhoCanMeetIt breaks one thing at a job of which everything was proved.
func TestWhoCanMeetIt(t *testing.T) {
	for _, tt := range []struct {
		want  string
		who   commonv1.Role
		spoil func(*site)
	}{
		{"PARTS_OPEN", clerk, func(s *site) {
			s.hear(&inventoryv1.PartsReturned{Hold: holdOf(s.job(), held)})
		}},
		{"PARTS_NOT_RETURNED", clerk, func(s *site) {
			hold := holdOf(s.job(), issued)
			hold.Lines = append(hold.Lines, &inventoryv1.HoldLine{Line: "repair.ghost:P", Part: "P", State: issued})
			s.hear(&inventoryv1.PartsIssued{Hold: hold})
		}},
		{"AUDIT_INCOMPLETE", technician, func(s *site) {
			s.hear(&torqueauditv1.SheetReopened{Job: job1, PlanRevision: s.job().Plan.GetRevision(), Joints: []string{"x"}, Reason: "the wrench was out"})
		}},
		{"AUDIT_INCOMPLETE", technician, func(s *site) { s.hear(&torqueauditv1.SheetVoided{Job: job1}) }},
		{"TOOL_ON_CAR", technician, func(s *site) {
			s.commit([]proto.Message{&jobv1.ToolPutOn{Job: job1, Tool: &jobv1.ToolOnCar{Tool: "pin", Title: "Pin", MustComeOff: true}}})
		}},
		{"PIECE_UNACCOUNTED", technician, func(s *site) {
			s.commit([]proto.Message{&jobv1.PiecesStowed{Job: job1, Pieces: []*jobv1.Stowed{{Piece: "seal", Title: "Seal", Count: 2, Settled: 1}}}})
		}},
		{"DEBRIS_OPEN", technician, func(s *site) {
			s.do(finding(&jobv1.ReportFindingRequest{Kind: brokenUp, Piece: "coils", PiecesMissing: 1}))
		}},
		{"CODES_NOT_READ ROAD_TEST_MISSING", technician, func(s *site) { s.wait(time.Minute).do(clearing) }},
		{"CODES_NOT_READ", technician, func(s *site) { s.wait(time.Minute).do(driving(true)) }},
		{"ROAD_TEST_FAILED", technician, func(s *site) { s.wait(time.Minute).do(driving(false)) }},
		{"CODE_CAME_BACK", technician, func(s *site) {
			s.wait(time.Minute).do(reading(afterDrive, &jobv1.CodeReading{Code: "P0304"}))
		}},
		{"AUTHORITY_SHORT STEPS_OPEN PARTS_OPEN AUDIT_INCOMPLETE CODES_NOT_CLEARED", dispatcher, func(s *site) {
			s.st.jobs[job1].Authorised = nil
			s.do(confirming("coil-4", "plug-1"))
		}},
	} {
		t.Run(tt.want, func(t *testing.T) {
			s := proved(t, "coil-4")
			wantUnmet(t, s, "")
			tt.spoil(s)
			wantUnmet(t, s, tt.want)
			u := s.job().unmet()[0]
			if u.GetWho() != tt.who || u.GetSubject() == "" || u.GetDescription() == "" {
				t.Errorf("told as %v", u)
			}
			_, err := s.close(job1)
			wantRefusal(t, err, "INVOICE_NOT_READY")
			if got := unmetOf(err); got != tt.want {
				t.Errorf("the refusal names %q, want %q", got, tt.want)
			}
		})
	}
}

// TestCodeCameBackByStatus tries status bytes of ISO 14229-1: bit 0 failing now,
// 1 failed in this cycle, 2 pending, 3 confirmed; the others speak of tests that
// were not run, or of the past (meaning of the bits from memory).
func TestCodeCameBackByStatus(t *testing.T) {
	for _, tt := range []struct {
		name   string
		status *uint32
		back   bool
	}{
		{"none shown", nil, true},
		{"0x00", new(uint32(0x00)), false},
		{"failing now", new(uint32(0x01)), true},
		{"failed this cycle", new(uint32(0x02)), true},
		{"pending", new(uint32(0x04)), true},
		{"confirmed", new(uint32(0x08)), true},
		{"not completed since cleared, and not this cycle", new(uint32(0x50)), false},
		{"failed since cleared only", new(uint32(0x20)), false},
		{"lamp asked for only", new(uint32(0x80)), false},
		{"all", new(uint32(0xFF)), true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := proved(t, "coil-4")
			s.wait(time.Minute).do(reading(afterDrive, &jobv1.CodeReading{Code: "P0300", Status: tt.status}))
			want := ""
			if tt.back {
				want = "CODE_CAME_BACK"
			}
			wantUnmet(t, s, want)
		})
	}
}

// TestOldProofDoesNotCount revises the plan of a job that was proved.
func TestOldProofDoesNotCount(t *testing.T) {
	s := proved(t, "coil-4")
	s.do(confirming("coil-4", "plug-1"))
	old := s.job().Plan.GetRevision() - 1
	stale := holdOf(s.job(), issued)
	stale.PlanRevision = old
	wantNames(t, s.hear(&inventoryv1.PartsIssued{Hold: stale}), "PartsNoted") // it says that more was issued
	s.hear(&torqueauditv1.SheetCompleted{Job: job1, PlanRevision: old, Joints: 9})
	wantUnmet(t, s, "STEPS_OPEN PARTS_OPEN AUDIT_INCOMPLETE CODES_NOT_CLEARED")
	s.issueAll()
	s.prove()
	s.work(nil)
	wantUnmet(t, s, "CODES_NOT_CLEARED")
}

// TestLateReading posts an old clean reading after the one with a code.
func TestLateReading(t *testing.T) {
	s := proved(t, "coil-4")
	early := timestamppb.New(s.now)
	s.wait(time.Minute).do(reading(afterDrive, &jobv1.CodeReading{Code: "P0304"}))
	s.wait(time.Minute).do(func(j *Job, _ *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, error) {
		return recordCodes(j, in, &jobv1.RecordCodesRequest{Moment: afterDrive, ReadAt: early})
	})
	wantUnmet(t, s, "CODE_CAME_BACK")
}

func TestProvingTooEarly(t *testing.T) {
	s := ready(t, "follower-4")
	_, err := s.try(clearing)
	wantRefusal(t, err, "STEPS_OPEN")
	_, err = s.try(driving(true))
	wantRefusal(t, err, "STEPS_OPEN")
	s.work(nil)
	tool := &jobv1.ToolOnCar{Tool: "pin", Title: "Pin", MustComeOff: true}
	s.commit([]proto.Message{&jobv1.ToolPutOn{Job: job1, Tool: tool}})
	_, err = s.try(driving(true))
	wantRefusal(t, err, "TOOL_ON_CAR")
	if fault.KindOf(err) != fault.Precondition || unmetOf(err) != "TOOL_ON_CAR" {
		t.Errorf("refused as %v", err)
	}
}
