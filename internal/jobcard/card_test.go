package jobcard

import (
	"bytes"
	"html/template"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

func job() *jobv1.Job {
	return &jobv1.Job{
		Name: "jobs/17", Causes: []string{"follower-4"}, Complaint: `<script>alert("x")</script>`,
		Vehicle: &jobv1.Vehicle{Plate: "RP-OR 16", Vin: "YMR0RN16ZHA004711"}, Customer: &jobv1.Customer{Name: "Marta & Quell"},
		Plan: &jobv1.Plan{
			Notice: "Invented data.", Parts: []*jobv1.PartWanted{{Part: "MO-4212", Quantity: 4, Feature: "retainer", Value: "bar", ForStep: "repair.follower-4"}},
			Tools: []*jobv1.ToolNeed{{Tool: "pin", Title: "Timing pin", MustComeOff: true}},
			Steps: []*jobv1.PlannedStep{
				{
					Id: "open.cover-off", Title: "Cover off", Kind: jobv1.PlannedStep_KIND_TAKE_OFF, Source: "cover-off", Phase: jobv1.Phase_PHASE_OPEN,
					Cautions: []*jobv1.Caution{{Hazard: "hot", Title: "Hot parts", Precaution: "Let it cool."}},
					Pieces:   []*jobv1.PieceMove{{Piece: "cover", Title: "Cover", Count: 1}, {Piece: "bolts", Title: "Bolts", Count: 10, Fate: cataloguev1.Piece_FATE_RENEW}},
				},
				{
					Id: "refit.cover-off", Title: "Refit: Cover", Kind: jobv1.PlannedStep_KIND_REFIT, Source: "cover-off", Phase: jobv1.Phase_PHASE_CLOSE,
					Joints: []string{"cover-joint"}, Risk: "may leak",
					Cautions: []*jobv1.Caution{{Hazard: "hot", Title: "Hot parts", Precaution: "Let it cool."}},
				},
			},
		},
		Progress: []*jobv1.StepProgress{{Step: "open.cover-off", State: jobv1.StepState_STEP_STATE_DONE}},
		Trays:    []*jobv1.Stowed{{Piece: "cover", Title: "Cover", Count: 1, Tray: "A3"}},
	}
}

func written(t *testing.T, o Options) string {
	t.Helper()
	var page bytes.Buffer
	o.Printed = time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	if err := Write(&page, job(), o); err != nil {
		t.Fatal(err)
	}
	return page.String()
}

func TestTheCardTellsWhatIsNeededAtTheCar(t *testing.T) {
	page := written(t, Options{})
	for _, want := range []string{
		template.HTMLEscapeString(Standing), "Invented data.", "Hot parts", "Let it cool.", "MO-4212", "only if retainer is bar", "must come off before the engine turns",
		"open.cover-off", "Short cut: may leak", "cover-joint", "Marta &amp; Quell", "2 Mar 2026", "@media print", `<tr class="done">`,
	} {
		if !strings.Contains(page, want) {
			t.Errorf("the card lacks %q", want)
		}
	}
	if strings.Contains(page, "<script") || strings.Contains(page, "http:") || strings.Contains(page, "https:") {
		t.Error("the card runs something, or needs something from elsewhere")
	}
	if strings.Count(page, "Let it cool.") != 1 {
		t.Error("a caution is printed more than once")
	}
}

// A piece that lies in a tray is on that tray's label and on no other.
func TestEveryPieceHasOneLabel(t *testing.T) {
	page := written(t, Options{LabelsOnly: true})
	trays := regexp.MustCompile(`class="tray">([^<]*)<`).FindAllStringSubmatch(page, -1)
	if len(trays) != 2 || trays[0][1] != "A3" || trays[1][1] != "17 cover-off" {
		t.Errorf("trays %v", trays)
	}
	if strings.Count(page, "1 × Cover<") != 1 || strings.Count(page, "10 × Bolts (renew)") != 1 || strings.Contains(page, "Dangers") {
		t.Error("the labels name a piece not at all or twice, or come with the card")
	}
}

func TestAJobWithoutPlanHasACard(t *testing.T) {
	var page bytes.Buffer
	if err := Write(&page, &jobv1.Job{Name: "jobs/1"}, Options{}); err != nil || !strings.Contains(page.String(), "Not planned yet") {
		t.Errorf("%v", err)
	}
}

// The finder patterns stand in three corners (ISO/IEC 18004): seven modules, a quiet zone of four around the symbol.
func TestCodesAreSymbols(t *testing.T) {
	symbol, err := code("jobs/17")
	if err != nil {
		t.Fatal(err)
	}
	dark := map[[2]string]bool{}
	for _, m := range regexp.MustCompile(`M(\d+) (\d+)h1`).FindAllStringSubmatch(string(symbol), -1) {
		dark[[2]string{m[1], m[2]}] = true
	}
	size := regexp.MustCompile(`viewBox="0 0 (\d+) `).FindStringSubmatch(string(symbol))[1]
	if size != "29" { // version 1, 21 modules
		t.Errorf("the symbol is %s modules wide", size)
	}
	for _, corner := range [][2]int{{4, 4}, {18, 4}, {4, 18}} {
		for i := range 7 {
			if !dark[at(corner[0]+i, corner[1])] || !dark[at(corner[0], corner[1]+i)] {
				t.Fatalf("no finder pattern at %v", corner)
			}
		}
		if dark[at(corner[0]+1, corner[1]+1)] || !dark[at(corner[0]+3, corner[1]+3)] {
			t.Errorf("the finder pattern at %v is filled wrongly", corner)
		}
	}
}

func at(x, y int) [2]string { return [2]string{strconv.Itoa(x), strconv.Itoa(y)} }
