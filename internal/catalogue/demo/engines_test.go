package demo

import (
	"testing"

	"ramprow/internal/catalogue"
	"ramprow/internal/engine/diagnosis"
	"ramprow/internal/engine/fastening"
	"ramprow/internal/engine/teardown"
)

// cars gives the facts of every combination of variants, designs left open.
func cars(t *testing.T, c *catalogue.Catalogue) map[string]catalogue.Facts {
	t.Helper()
	known := []map[string]string{{}}
	for _, feature := range c.Message().GetFeatures() {
		if len(feature.GetSeenOnceOff()) > 0 {
			continue
		}
		var next []map[string]string
		for _, before := range known {
			for _, v := range feature.GetValues() {
				with := map[string]string{feature.GetId(): v.GetId()}
				for f, value := range before {
					with[f] = value
				}
				next = append(next, with)
			}
		}
		known = next
	}
	all := map[string]catalogue.Facts{}
	for _, features := range known {
		facts, err := c.Facts(features, noDate)
		if err != nil {
			t.Fatal(err)
		}
		name := ""
		for _, value := range features {
			name += value + " "
		}
		all[name] = facts
	}
	return all
}

// TestEveryRepairCanBePlanned plans the way to every repair and test on every
// car, and wants it proved cheapest.
func TestEveryRepairCanBePlanned(t *testing.T) {
	all, err := Catalogues()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range all {
		for name, facts := range cars(t, c) {
			engine, err := teardown.New(c.TeardownModel(facts))
			if err != nil {
				t.Fatalf("%s, %s: %v", c.Version(), name, err)
			}
			var tasks []teardown.Task
			for _, cause := range c.Message().GetCauses() {
				tasks = append(tasks, c.RepairTask(cause.GetId(), facts))
			}
			for _, test := range c.Message().GetTests() {
				tasks = append(tasks, c.TestTask(test.GetId(), facts))
			}
			for _, task := range tasks {
				plan, err := engine.Plan(teardown.CarState{}, []teardown.Task{task}, teardown.Options{MeansOnly: true})
				if err != nil {
					t.Errorf("%s, %s: %s: %v", c.Version(), name, task.ID, err)
				} else if !plan.Proved {
					t.Errorf("%s, %s: %s: cost %g is not proved, bound %g", c.Version(), name, task.ID, plan.Cost, plan.Bound)
				}
			}
		}
	}
}

// TestValveCoverWay: the long reach saves the scuttle on the hatch; the cross
// has to open it, brace and all.
func TestValveCoverWay(t *testing.T) {
	c := byID(t, "marlow-orrin")
	for _, tc := range []struct {
		body       string
		with, sans string
	}{
		{"hatch", "valve-cover-off-long-reach", "scuttle-tray-off"},
		{"cross", "scuttle-brace-off", "valve-cover-off-long-reach"},
	} {
		facts, err := c.Facts(map[string]string{"body": tc.body}, noDate)
		if err != nil {
			t.Fatal(err)
		}
		engine, err := teardown.New(c.TeardownModel(facts))
		if err != nil {
			t.Fatal(err)
		}
		task := c.RepairTask("valve-cover-leaks", facts)
		plan, err := engine.Plan(teardown.CarState{}, []teardown.Task{task}, teardown.Options{MeansOnly: true})
		if err != nil {
			t.Fatal(err)
		}
		chosen := map[string]bool{}
		for _, operation := range plan.Chosen {
			chosen[operation] = true
		}
		if !chosen[tc.with] || chosen[tc.sans] {
			t.Errorf("%s: chose %v; want %s and not %s", tc.body, plan.Chosen, tc.with, tc.sans)
		}
	}
}

// TestEveryJointCanBegin takes every joint on every car to the fastening engine.
func TestEveryJointCanBegin(t *testing.T) {
	all, err := Catalogues()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range all {
		var ids []string
		for _, joint := range c.Message().GetJoints() {
			ids = append(ids, joint.GetId())
		}
		for name, facts := range cars(t, c) {
			joints, err := c.JointsFor(facts, ids...)
			if err != nil {
				t.Fatalf("%s, %s: %v", c.Version(), name, err)
			}
			for _, joint := range joints {
				for _, s := range joint.Specifications {
					if _, err := fastening.Begin(s.Joint); err != nil {
						t.Errorf("%s, %s: %v", c.Version(), name, err)
					}
				}
			}
		}
	}
}

// TestRetainerJointByDesign: three specifications while nobody has looked, one
// afterwards.
func TestRetainerJointByDesign(t *testing.T) {
	c := byID(t, "marlow-orrin")
	for _, tc := range []struct {
		known  map[string]string
		counts []int // stages of each specification
	}{
		{nil, []int{2, 3, 5}},
		{map[string]string{"follower-retainer": "carrier"}, []int{5}},
	} {
		facts, err := c.Facts(tc.known, noDate)
		if err != nil {
			t.Fatal(err)
		}
		joints, err := c.JointsFor(facts, "follower-retainer")
		if err != nil {
			t.Fatal(err)
		}
		specifications := joints[0].Specifications
		if len(specifications) != len(tc.counts) || joints[0].Settled() != (len(tc.counts) == 1) {
			t.Fatalf("known %v: %d specifications", tc.known, len(specifications))
		}
		for i, want := range tc.counts {
			if got := len(specifications[i].Joint.Stages); got != want {
				t.Errorf("known %v: specification %d has %d stages, want %d", tc.known, i, got, want)
			}
		}
	}
}

// TestMisfireStory is the case that the program is shown with: a misfire on
// cylinder 4 points to the cheap coil first; ticking and the maker's valve-train
// codes point under the cover. Order expected from experience, no source.
func TestMisfireStory(t *testing.T) {
	c := byID(t, "marlow-orrin")
	facts, err := c.Facts(map[string]string{"body": "hatch", "gearbox": "manual"}, date(t, "2020-03-01"))
	if err != nil {
		t.Fatal(err)
	}
	model, err := c.DiagnosisModel(facts, 120_000)
	if err != nil {
		t.Fatal(err)
	}
	engine, err := diagnosis.New(model.Model)
	if err != nil {
		t.Fatal(err)
	}
	seen := func(of string, present bool) diagnosis.Observation {
		return diagnosis.Observation{Of: of, Present: present}
	}
	misfire := []diagnosis.Observation{seen("P0304", true), seen("shakes-at-idle", true)}
	for _, tc := range []struct {
		name     string
		evidence []diagnosis.Observation
		first    string
	}{
		{"code and shaking only", misfire, "coil-4"},
		{"coil swapped, stays", append(misfire[:2:2], seen("swap-coil", false)), "plug-4"},
		{"ticking, and the maker's code", append(misfire[:2:2], seen("ticking", true), seen("0x2A10", true)), "follower-4"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			answer, err := engine.Diagnose(diagnosis.Evidence{Observations: tc.evidence})
			if err != nil {
				t.Fatal(err)
			}
			if got := answer.Causes[0].Cause; got != tc.first {
				t.Errorf("first is %s (%.2f), want %s; then %s (%.2f)", got, answer.Causes[0].Probability,
					tc.first, answer.Causes[1].Cause, answer.Causes[1].Probability)
			}
		})
	}
}
