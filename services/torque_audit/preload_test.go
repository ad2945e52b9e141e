package torqueaudit

import (
	"bytes"
	"math"
	"strings"
	"testing"

	jobv1 "ramprow/proto/ramprow/job/v1"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// TestPreloadWithItsScatter: M8 of class 8.8 at friction 0.12 holds 18.6 kN at
// 24.6 N·m in the guideline's tables, ±25 % when oiled; on sheet and record, and
// nowhere when the friction is not known.
func TestPreloadWithItsScatter(t *testing.T) {
	known := cover()
	known.Thread, known.PropertyClass, known.Friction, known.Oiled = "M8x1.25", "8.8", 0.12, true
	known.Designs[0].Stages[0] = torqueStage(24.6)
	s := started(t, known)
	p := s.state.sheets[job1].render().GetJoints()[0].GetPreload()
	if math.Abs(p.GetMeanN()-18600) > 100 || p.GetScatterPercent() != 25 || math.Abs(p.GetLowN()/p.GetMeanN()-0.75) > 1e-9 ||
		math.Abs(p.GetHighN()/p.GetMeanN()-1.25) > 1e-9 || p.GetMethod() != "torque wrench, oiled" {
		t.Errorf("estimate %v", p)
	}
	_, sealed, _ := s.proved()
	if !bytes.Contains(sealed.JSON, []byte(`"scatter_percent": 25`)) {
		t.Errorf("not in the file:\n%s", sealed.JSON)
	}
	if page := s.page(); !strings.Contains(page, "14 to 23.3 kN about 18.6 kN, ±25 % by the method") {
		t.Errorf("not in print: %s", page[strings.Index(page, "Clamping"):][:160])
	}
	for name, lack := range map[string]func(*jobv1.JointDue){
		"friction": func(d *jobv1.JointDue) { d.Friction = 0 },
		"class":    func(d *jobv1.JointDue) { d.PropertyClass = "" },
		"design":   func(d *jobv1.JointDue) { d.Designs = head().GetDesigns() },
	} {
		d := cover()
		d.Thread, d.PropertyClass, d.Friction = "M8x1.25", "8.8", 0.12
		lack(d)
		s := started(t, d)
		if p := s.state.sheets[job1].render().GetJoints()[0].GetPreload(); p != nil {
			t.Errorf("%s is not known, and it says %v", name, p)
		}
	}
}

// TestRecordKeepsWhatWasGiven: the unit as it was given, and the uses of a
// fastener that has a limit, in file and print.
func TestRecordKeepsWhatWasGiven(t *testing.T) {
	s := started(t, wheel())
	posted(s, &pb.PostReadingRequest{Job: job1, Joint: "wheel", Fastener: 1, Wrench: bigWrench, Torque: &pb.GivenTorque{Value: 88.5, Unit: "lbf·ft"}})
	accepted(s, "ada", decideRenewFasteners, &pb.RenewFastenersRequest{Job: job1, Joint: "wheel", Fasteners: []uint32{2}})
	r, sealed, _ := s.proved()
	if g := r.Readings[0].Given; g == nil || g.Torque != 88.5 || g.Unit != "lbf·ft" || r.Readings[0].Use != 2 {
		t.Errorf("reading %+v", r.Readings[0])
	}
	if !bytes.Contains(sealed.JSON, []byte(`"unit": "lbf·ft"`)) || !bytes.Contains(sealed.JSON, []byte(`"uses_at_most": 3`)) {
		t.Errorf("not in the file:\n%s", sealed.JSON)
	}
	page := s.page()
	for _, want := range []string{"(88.5 lbf·ft)", "May be used 3 times at most", "bolt by bolt: 2, 0.", "Renewed by ada"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
}
