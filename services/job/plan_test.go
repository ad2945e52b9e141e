package job

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"ramprow/internal/catalogue"
	"ramprow/internal/platform/fault"
	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// checkPlan reads a plan by itself, without the code that made it, and says
// what is wrong with it; off are the operations that were open before.
func checkPlan(p *jobv1.Plan, off []string) string {
	done, open, entered := map[string]bool{}, map[string]bool{}, map[string]bool{}
	var labour time.Duration
	for _, source := range off {
		open[source] = true
	}
	for _, s := range p.GetSteps() {
		for _, before := range s.GetAfter() {
			if !done[before] {
				return fmt.Sprintf("%s comes after %s, which is not before it", s.GetId(), before)
			}
		}
		if done[s.GetId()] || s.GetId() == "" || s.GetTitle() == "" || s.GetPhase() == jobv1.Phase_PHASE_UNSPECIFIED {
			return fmt.Sprintf("%q is there twice, or has no title or phase", s.GetId())
		}
		done[s.GetId()] = true
		labour += (s.GetEffort().GetOptimistic().AsDuration() + 4*s.GetEffort().GetLikely().AsDuration() + s.GetEffort().GetPessimistic().AsDuration()) / 6
		for _, need := range s.GetNeedsStates() {
			if !entered[need] && s.GetKind() != jobv1.PlannedStep_KIND_LEAVE_STATE {
				return fmt.Sprintf("%s needs the state %s, which the car is not in", s.GetId(), need)
			}
		}
		if wrong := keepsOrder(s, open, entered); wrong != "" {
			return wrong
		}
	}
	if len(open)+len(entered) > 0 {
		return fmt.Sprintf("the car stays open: %v, in the states %v", open, entered)
	}
	return checkNeeds(p, done, labour)
}

// keepsOrder keeps what is off and which states hold.
func keepsOrder(s *jobv1.PlannedStep, open, entered map[string]bool) string {
	set, there := open, s.GetKind() == jobv1.PlannedStep_KIND_REFIT
	switch s.GetKind() {
	case jobv1.PlannedStep_KIND_ENTER_STATE, jobv1.PlannedStep_KIND_LEAVE_STATE:
		set, there = entered, s.GetKind() == jobv1.PlannedStep_KIND_LEAVE_STATE
	case jobv1.PlannedStep_KIND_TAKE_OFF, jobv1.PlannedStep_KIND_REFIT:
	default:
		return ""
	}
	if set[s.GetSource()] != there {
		return fmt.Sprintf("%s is done at the wrong time", s.GetId())
	}
	if there {
		delete(set, s.GetSource())
	} else {
		set[s.GetSource()] = true
	}
	return ""
}

func checkNeeds(p *jobv1.Plan, steps map[string]bool, labour time.Duration) string {
	lines := map[string]bool{}
	var cheapest, dearest int64
	for _, l := range p.GetParts() {
		if lines[l.GetLine()] || !steps[l.GetForStep()] || l.GetQuantity() < 1 || l.GetUnit() == 0 || (l.GetFeature() == "") != (l.GetValue() == "") {
			return fmt.Sprintf("part line %v", l)
		}
		lines[l.GetLine()] = true
		dearest += l.GetPrice().GetMinorUnits()
		if l.GetFeature() == "" {
			cheapest += l.GetPrice().GetMinorUnits()
		}
	}
	if parts := p.GetPartsEstimate().GetMinorUnits(); parts < cheapest || parts > dearest {
		return fmt.Sprintf("parts are estimated at %d, and lie between %d and %d", parts, cheapest, dearest)
	}
	if want := halfUp(int64(labour.Round(time.Minute)/time.Minute)*9600, 60); p.GetLabourEstimate().GetMinorUnits() != want {
		return fmt.Sprintf("labour is estimated at %v, want %d for %s", p.GetLabourEstimate(), want, labour)
	}
	joints := map[string]bool{}
	for _, due := range p.GetJoints() {
		if joints[due.GetJoint()] || !steps[due.GetForStep()] || len(due.GetDesigns()) == 0 || len(due.GetOrder()) != int(due.GetFasteners()) {
			return fmt.Sprintf("joint %v", due)
		}
		joints[due.GetJoint()] = true
		for _, d := range due.GetDesigns() {
			if len(d.GetStages()) == 0 || (d.GetFeature() == "") != (len(due.GetDesigns()) == 1) {
				return fmt.Sprintf("joint %s has a design %q without stages or name", due.GetJoint(), d.GetValue())
			}
		}
	}
	e := p.GetEffort()
	if e.GetP50().AsDuration() <= 0 || e.GetP80().AsDuration() < e.GetP50().AsDuration() || p.GetUntilPartsNeeded().AsDuration() > labour {
		return fmt.Sprintf("effort %v, parts needed after %v", e, p.GetUntilPartsNeeded())
	}
	return checkTools(p, steps)
}

func checkTools(p *jobv1.Plan, steps map[string]bool) string {
	var on []string
	for _, s := range p.GetSteps() {
		on = append(on, s.GetToolsPutOn()...)
		for _, tool := range s.GetToolsTakenOff() {
			if !slices.Contains(on, tool) {
				return fmt.Sprintf("%s takes %s off, which is not on", s.GetId(), tool)
			}
			on = without(on, tool)
		}
		for _, line := range s.GetPartLines() {
			if !slices.ContainsFunc(p.GetParts(), func(l *jobv1.PartWanted) bool { return l.GetLine() == line && l.GetForStep() == s.GetId() }) {
				return fmt.Sprintf("%s uses the line %s, which is not there", s.GetId(), line)
			}
		}
	}
	for _, n := range p.GetTools() {
		if !steps[n.GetFirstStep()] || !steps[n.GetLastStep()] {
			return fmt.Sprintf("tool %v", n)
		}
	}
	if len(on) > 0 {
		return fmt.Sprintf("left on the car: %v", on)
	}
	return ""
}

// combinations are all ways to know or not to know a car's features.
func combinations(features []*cataloguev1.Feature) []map[string]string {
	all := []map[string]string{{}}
	for _, f := range features {
		var more []map[string]string
		for _, known := range all {
			more = append(more, known)
			for _, v := range f.GetValues() {
				with := map[string]string{f.GetId(): v.GetId()}
				for feature, value := range known {
					with[feature] = value
				}
				more = append(more, with)
			}
		}
		all = more
	}
	return all
}

// possible reports whether a car of which so much is known can have the cause.
func possible(t *testing.T, c *catalogue.Catalogue, known map[string]string, cause *cataloguev1.Cause) bool {
	t.Helper()
	facts, err := c.Facts(known, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	return facts.Holds(cause.GetWhen()) != catalogue.No
}

// TestEveryPlan plans every cause of both families for every car that there can be.
func TestEveryPlan(t *testing.T) {
	for id, c := range loaded() {
		t.Run(id, func(t *testing.T) {
			t.Parallel()
			planned := 0
			for i, known := range combinations(c.Message().GetFeatures()) {
				if testing.Short() && i%4 != 0 {
					continue
				}
				for _, cause := range c.Message().GetCauses() {
					j := &Job{Number: 1, Vehicle: &jobv1.Vehicle{Features: known}}
					plan, err := planFor(j, c, []string{cause.GetId()})
					if !possible(t, c, known, cause) {
						wantRefusal(t, err, "CAUSE_NOT_ON_CAR", "cause")
						continue
					}
					if err != nil {
						t.Fatalf("%v, %s: %v", known, cause.GetId(), err)
					}
					if wrong := checkPlan(plan, nil); wrong != "" {
						t.Errorf("%v, %s: %s", known, cause.GetId(), wrong)
					}
					planned++
				}
			}
			t.Logf("%d plans", planned)
		})
	}
}

// TestAnyCausesOfAnyCar draws several causes, and the order in which they are named.
func TestAnyCausesOfAnyCar(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		c := loaded()[rapid.SampledFrom([]string{car, van}).Draw(r, "family")]
		known := rapid.SampledFrom(combinations(c.Message().GetFeatures())).Draw(r, "known")
		var ids []string
		for _, cause := range c.Message().GetCauses() {
			ids = append(ids, cause.GetId())
		}
		causes := rapid.SliceOfNDistinct(rapid.SampledFrom(ids), 1, 6, rapid.ID).Draw(r, "causes")
		j := &Job{Number: 1, Vehicle: &jobv1.Vehicle{Features: known}}
		plan, err := planFor(j, c, causes)
		if err != nil {
			if reason := fault.ReasonOf(err); reason != "CAUSE_NOT_ON_CAR" && reason != "PLAN_IMPOSSIBLE" && reason != "NO_BAY_FITS" {
				r.Fatalf("%v of %v: %v", causes, known, err)
			}
			return
		}
		if wrong := checkPlan(plan, nil); wrong != "" {
			r.Fatalf("%v of %v: %s", causes, known, wrong)
		}
		for _, cause := range causes {
			if !slices.ContainsFunc(plan.GetSteps(), func(s *jobv1.PlannedStep) bool { return s.GetId() == "repair."+cause }) {
				r.Fatalf("nobody repairs %s", cause)
			}
		}
	})
}

func TestWhileOpen(t *testing.T) {
	s, c := opened(t), loaded()[car]
	d, err := (&diagnosers{}).of(s.job(), c, taught{})
	if err != nil {
		t.Fatal(err)
	}
	got, err := whileOpen(s.job(), c, []string{"follower-4"}, d)
	if err != nil || len(got) == 0 || len(got) > maxSuggestions {
		t.Fatalf("%d suggestions, %v", len(got), err)
	}
	// The plugs stand in the cover that comes off anyway; at this mileage they are worn soonest.
	if got[0].GetPiece() != "spark-plugs" {
		t.Errorf("suggests %v first", got[0])
	}
	titles := map[string]bool{c.Cause("follower-4").GetRepair().GetTitle(): true}
	for _, g := range got {
		if titles[g.GetTitle()] || c.Piece(g.GetPiece()) == nil || g.GetExtra().AsDuration() < 0 || !strings.Contains(g.GetReason(), "probability") {
			t.Errorf("suggests %v", g)
		}
		titles[g.GetTitle()] = true
	}
}
