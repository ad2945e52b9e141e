// Package jobcard prints a job for the bay: a card with its plan, dangers and cautions, and a label for every tray. It is HTML
// with rules for printing, and needs nothing from elsewhere. The maker's data comes first, and the card says so.
package jobcard

import (
	_ "embed" // the page
	"fmt"
	"html/template"
	"io"
	"slices"
	"strings"
	"time"

	commonv1 "ramprow/proto/ramprow/common/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

//go:embed card.html
var page string

var layout = template.Must(template.New("card").Parse(page))

// Standing is printed on every card, whatever the catalogue says.
const Standing = "The maker's data, local rules and licensed persons come first. Where this card differs from them, they are right."

// Options say what is printed.
type Options struct {
	// LabelsOnly leaves the card out.
	LabelsOnly bool
	// Printed is the moment that the card shows.
	Printed time.Time
}

// Write prints a job.
func Write(w io.Writer, j *jobv1.Job, o Options) error {
	s, err := sheetOf(j, o)
	if err != nil {
		return err
	}
	return layout.Execute(w, s)
}

// sheet is what the page shows.
type sheet struct {
	Job                                *jobv1.Job
	Number, Title, Printed, Standing   string
	Code                               template.HTML
	Causes, Way, Half, Late            string
	Card                               bool
	Phases                             []phase
	Cautions                           []*jobv1.Caution
	Parts                              []part
	Tools                              []*jobv1.ToolNeed
	Skills, Bays, Authorised, Estimate string
	Labels                             []label
}

type phase struct {
	Title string
	Steps []step
}

type step struct {
	*jobv1.PlannedStep
	Done                        bool
	Minutes, Position, Dangers  string
	ToolWords, JointWords, Uses string
}

type part struct {
	*jobv1.PartWanted
	Amount, Only string
}

type label struct {
	Tray, Title, Plate string
	Pieces             []string
	Code               template.HTML
}

func sheetOf(j *jobv1.Job, o Options) (*sheet, error) {
	number := strings.TrimPrefix(j.GetName(), "jobs/")
	s := &sheet{
		Job: j, Number: number, Title: "Job " + number, Printed: o.Printed.Format("2 Jan 2006 15:04 MST"), Standing: Standing, Card: !o.LabelsOnly,
		Causes: strings.Join(j.GetCauses(), ", "), Way: j.GetPlan().GetWay().GetName(),
		Half: minutes(j.GetPlan().GetEffort().GetP50().AsDuration()), Late: minutes(j.GetPlan().GetEffort().GetP80().AsDuration()),
		Skills: strings.Join(j.GetPlan().GetSkills(), ", "), Bays: strings.Join(j.GetPlan().GetBayKinds(), ", "), Tools: j.GetPlan().GetTools(),
	}
	var err error
	if s.Code, err = code(j.GetName()); err != nil {
		return nil, err
	}
	done := map[string]bool{}
	for _, p := range j.GetProgress() {
		done[p.GetStep()] = p.GetState() == jobv1.StepState_STEP_STATE_DONE
	}
	for _, p := range j.GetPlan().GetSteps() {
		s.addStep(p, done[p.GetId()])
	}
	for _, p := range j.GetPlan().GetParts() {
		s.Parts = append(s.Parts, part{p, amount(p), only(p)})
	}
	s.Labels, err = labels(j, number)
	return s, err
}

func (s *sheet) addStep(p *jobv1.PlannedStep, done bool) {
	title := strings.ToLower(strings.TrimPrefix(p.GetPhase().String(), "PHASE_"))
	if len(s.Phases) == 0 || s.Phases[len(s.Phases)-1].Title != title {
		s.Phases = append(s.Phases, phase{Title: title})
	}
	last := &s.Phases[len(s.Phases)-1]
	row := step{
		PlannedStep: p, Done: done, Minutes: minutes(p.GetEffort().GetLikely().AsDuration()), Uses: strings.Join(p.GetPartLines(), ", "),
		Position:  strings.ReplaceAll(strings.ToLower(strings.TrimPrefix(p.GetPosition().String(), "POSITION_")), "_", " "),
		ToolWords: strings.Join(slices.Concat(p.GetTools(), p.GetToolsPutOn()), ", "), JointWords: strings.Join(p.GetJoints(), ", "),
	}
	if row.Position == "unspecified" {
		row.Position = ""
	}
	var dangers []string
	for _, c := range p.GetCautions() {
		dangers = append(dangers, c.GetTitle())
		if !slices.ContainsFunc(s.Cautions, func(k *jobv1.Caution) bool { return k.GetHazard() == c.GetHazard() }) {
			s.Cautions = append(s.Cautions, c)
		}
	}
	row.Dangers = strings.Join(dangers, ", ")
	last.Steps = append(last.Steps, row)
}

func minutes(d time.Duration) string {
	m := int(d.Round(time.Minute).Minutes())
	if m < 60 {
		return fmt.Sprintf("%d min", m)
	}
	return fmt.Sprintf("%d h %02d min", m/60, m%60)
}

func amount(p *jobv1.PartWanted) string {
	if p.GetUnit() == commonv1.Unit_UNIT_PIECE {
		return fmt.Sprint(p.GetQuantity())
	}
	return fmt.Sprintf("%d %s", p.GetQuantity(), strings.ToLower(strings.TrimPrefix(p.GetUnit().String(), "UNIT_")))
}

func only(p *jobv1.PartWanted) string {
	if p.GetFeature() == "" {
		return ""
	}
	return fmt.Sprintf("only if %s is %s", p.GetFeature(), p.GetValue())
}

// labels are one for every tray: those in use, and one for each step that still takes something off.
func labels(j *jobv1.Job, number string) ([]label, error) {
	var list []label
	add := func(tray, title string, pieces []string) error {
		symbol, err := code(j.GetName() + " tray " + tray)
		list = append(list, label{Tray: tray, Title: title, Plate: j.GetVehicle().GetPlate(), Pieces: pieces, Code: symbol})
		return err
	}
	used := map[string][]string{}
	var order []string
	lies := map[string]bool{}
	for _, p := range j.GetTrays() {
		if used[p.GetTray()] == nil {
			order = append(order, p.GetTray())
		}
		used[p.GetTray()] = append(used[p.GetTray()], pieceWords(p.GetCount(), p.GetTitle(), p.GetMustRenew()))
		lies[p.GetPiece()] = true
	}
	for _, tray := range order {
		if err := add(tray, "in use", used[tray]); err != nil {
			return nil, err
		}
	}
	for _, s := range j.GetPlan().GetSteps() {
		if s.GetKind() != jobv1.PlannedStep_KIND_TAKE_OFF {
			continue
		}
		var pieces []string
		for _, p := range s.GetPieces() {
			if !lies[p.GetPiece()] {
				pieces = append(pieces, pieceWords(p.GetCount(), p.GetTitle(), p.GetFate().String() == "FATE_RENEW"))
			}
		}
		if len(pieces) > 0 {
			if err := add(TrayName(number, s.GetSource()), s.GetTitle(), pieces); err != nil {
				return nil, err
			}
		}
	}
	return list, nil
}

// TrayName is what a tray is called unless the technician says otherwise, as in 17 valve-cover-off.
func TrayName(number, operation string) string {
	name := number + " " + operation
	return name[:min(len(name), 40)]
}

func pieceWords(count uint32, title string, renew bool) string {
	words := fmt.Sprintf("%d × %s", count, title)
	if renew {
		words += " (renew)"
	}
	return words
}
