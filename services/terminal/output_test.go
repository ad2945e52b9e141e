package terminal

import (
	"bytes"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/types/known/durationpb"

	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

func sessionOn(t *testing.T, out *bytes.Buffer, json bool) *session {
	t.Helper()
	moment := now(t)
	return &session{out: out, json: json, now: func() time.Time { return moment }}
}

func TestPartsAsATable(t *testing.T) {
	parts := []*inventoryv1.Part{
		{Number: "MO-4212", Title: "Roller follower", Bin: "C-07", Unit: commonv1.Unit_UNIT_PIECE, OnHand: 16, Held: 8, Available: 8},
		{Number: "OIL-1", Title: "Motoröl", Unit: commonv1.Unit_UNIT_MILLILITRE, OnHand: 20000, Available: 20000, OnOrder: 5000, Wanted: 4300},
	}
	want := `PART     WHAT             BIN   UNIT  ON HAND  HELD   FREE  ON ORDER  WANTED
MO-4212  Roller follower  C-07  pc         16     8      8         0       0
OIL-1    Motoröl                ml      20000     0  20000      5000    4300
`
	var out bytes.Buffer
	if err := showList(sessionOn(t, &out, false), parts, "none", partColumns()); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, out.String()); diff != "" {
		t.Error(diff)
	}
}

func TestAListInJSONIsOneObjectALine(t *testing.T) {
	var out bytes.Buffer
	s := sessionOn(t, &out, true)
	parts := []*inventoryv1.Part{{Number: "A-1", OnHand: 3}, {Number: "B-2", Title: "line\nbreak"}}
	if err := showList(s, parts, "none", partColumns()); err != nil {
		t.Fatal(err)
	}
	want := `{"number":"A-1","onHand":"3"}` + "\n" + `{"number":"B-2","title":"line\nbreak"}` + "\n"
	if out.String() != want {
		t.Errorf("got %s", out.String())
	}
	out.Reset()
	if err := showList(s, nil, "none", partColumns()); err != nil || out.String() != "" {
		t.Errorf("an empty list is no line for a program: %q, %v", out.String(), err)
	}
}

func TestAnEmptyListSaysSo(t *testing.T) {
	var out bytes.Buffer
	if err := showList(sessionOn(t, &out, false), nil, "No part here.", partColumns()); err != nil || out.String() != "No part here.\n" {
		t.Errorf("%q, %v", out.String(), err)
	}
}

func TestCellsCannotSteerTheTerminal(t *testing.T) {
	if got := oneLine("a\x1b[2Jb\nc\u009b"); got != "a [2Jb c " {
		t.Errorf("%q", got)
	}
}

func TestStepsStandAsTheyStand(t *testing.T) {
	j := &jobv1.Job{
		Plan: &jobv1.Plan{Steps: []*jobv1.PlannedStep{
			{Id: "open.cover", Title: "Take the cover off", Effort: &commonv1.ThreePoint{Likely: durationpb.New(12 * time.Minute)}, Cautions: []*jobv1.Caution{{Title: "Hot parts"}}},
			{Id: "open.rocker", Title: "Take the rocker out", Effort: &commonv1.ThreePoint{Likely: durationpb.New(90 * time.Minute)}, After: []string{"open.cover"}, Joints: []string{"rocker"}},
			{Id: "refit.cover", Title: "Refit the cover", After: []string{"open.rocker", "gone.by.replan"}},
		}},
		Progress: []*jobv1.StepProgress{{Step: "open.cover", State: jobv1.StepState_STEP_STATE_DONE, Worked: durationpb.New(15 * time.Minute)}},
	}
	want := `STEP         STATE      LIKELY  WORKED  WHAT
open.cover   done       12 min  15 min  Take the cover off  [! Hot parts]
open.rocker  ready  1 h 30 min          Take the rocker out  [tighten: rocker]
refit.cover  waits                      Refit the cover
`
	var out bytes.Buffer
	if err := writeTable(&out, stepRows(j), stepColumns()); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, out.String()); diff != "" {
		t.Error(diff)
	}
}

func TestTheBoardNamesEachBayOnce(t *testing.T) {
	var out bytes.Buffer
	s := sessionOn(t, &out, false)
	morning, err := parseInterval("08:00", "10:00", s.now())
	if err != nil {
		t.Fatal(err)
	}
	noon, err := parseInterval("10:00", "12:30", s.now())
	if err != nil {
		t.Fatal(err)
	}
	err = s.showBoard(&schedulingv1.GetBoardResponse{
		Lanes: []*schedulingv1.BoardLane{
			{Bay: &schedulingv1.Resource{Title: "Bay 1"}, Bookings: []*schedulingv1.Booking{
				{Job: "jobs/7", Title: "Follower", Technician: "people/tomas", When: morning, State: schedulingv1.BookingState_BOOKING_STATE_STARTED},
				{Job: "jobs/12", Title: "Water pump", Technician: "people/runa", When: noon, State: schedulingv1.BookingState_BOOKING_STATE_BOOKED, Pinned: true, Promised: noon.GetEnd()},
			}},
			{Bay: &schedulingv1.Resource{Title: "Bay 2"}},
		},
		Waiting: []*schedulingv1.Booking{{Job: "jobs/13", Title: "Belt", WaitingFor: "parts"}},
	})
	if err != nil {
		t.Fatal(err)
	}
	want := `BAY    WHEN         JOB  WHAT        WHO    STATE           PROMISED
Bay 1  08:00–10:00    7  Follower    tomas  started
       10:00–12:30   12  Water pump  runa   booked, pinned  12:30
Bay 2  free

Not booked yet:
JOB  WHAT  LIKELY  WAITS FOR
 13  Belt          parts
`
	if diff := cmp.Diff(want, out.String()); diff != "" {
		t.Error(diff)
	}
}
