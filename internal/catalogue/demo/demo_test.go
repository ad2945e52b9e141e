package demo

import (
	"strings"
	"testing"

	"ramprow/internal/catalogue"
	pb "ramprow/proto/ramprow/catalogue/v1"
)

func byID(t *testing.T, id string) *catalogue.Catalogue {
	t.Helper()
	all, err := Catalogues()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range all {
		if c.Message().GetId() == id {
			return c
		}
	}
	t.Fatalf("no demo catalogue %s", id)
	return nil
}

func TestCataloguesHaveNoProblems(t *testing.T) {
	all, err := Catalogues()
	if err != nil {
		t.Fatal(err)
	}
	if len(all) != 2 {
		t.Fatalf("have %d catalogues, want 2", len(all))
	}
	for _, c := range all {
		for _, warning := range c.Warnings() {
			t.Error(warning)
		}
		if notice := c.Message().GetNotice(); !strings.Contains(notice, "Invented") || !strings.Contains(notice, "no workshop data") {
			t.Errorf("%s: the notice does not say that it is invented: %q", c.Version(), notice)
		}
	}
}

// TestRichness holds the demo to the size that the program is shown with.
func TestRichness(t *testing.T) {
	m := byID(t, "marlow-orrin").Message()
	fasteners := 0
	for _, joint := range m.GetJoints() {
		fasteners += int(joint.GetFasteners())
	}
	for _, count := range []struct {
		what     string
		have     int
		min, max int
	}{
		{"pieces", len(m.GetPieces()), 85, 110},
		{"joints", len(m.GetJoints()), 25, 80},
		{"fasteners", fasteners, 140, 400},
		{"codes", len(m.GetCodes()), 14, 60},
		{"causes", len(m.GetCauses()), 18, 80},
		{"tests", len(m.GetTests()), 22, 80},
		{"values of the retainer design", len(featureOf(m, "follower-retainer").GetValues()), 3, 3},
		{"bodies", len(featureOf(m, "body").GetValues()), 2, 2},
		{"gearboxes", len(featureOf(m, "gearbox").GetValues()), 2, 2},
		{"places with two ways", len(placesWithTwoWays(m)), 6, 40},
		{"van pieces", len(byID(t, "dunfell-carrow").Message().GetPieces()), 20, 30},
	} {
		if count.have < count.min || count.have > count.max {
			t.Errorf("%s: have %d, want %d to %d", count.what, count.have, count.min, count.max)
		}
	}
}

func featureOf(m *pb.Catalogue, id string) *pb.Feature {
	for _, f := range m.GetFeatures() {
		if f.GetId() == id {
			return f
		}
	}
	return nil
}

// placesWithTwoWays lists the pieces that both a book's way and a short cut
// lead to.
func placesWithTwoWays(m *pb.Catalogue) []string {
	book, short := map[string]bool{}, map[string]bool{}
	for _, o := range m.GetOperations() {
		ways := short
		if o.GetByTheBook() {
			ways = book
		}
		lead := append(o.GetTakesOff(), o.GetReaches()...)
		ways[lead[0]] = true // counted once per place: by its first piece
	}
	var both []string
	for piece := range book {
		if short[piece] {
			both = append(both, piece)
		}
	}
	return both
}

// TestShortCutsDependOnTheCar checks the two that the demo story tells of.
func TestShortCutsDependOnTheCar(t *testing.T) {
	c := byID(t, "marlow-orrin")
	for _, tc := range []struct {
		operation, body, gearbox string
		want                     catalogue.Answer
	}{
		{"turn-through-the-wheel", "hatch", "manual", catalogue.Yes},
		{"turn-through-the-wheel", "hatch", "automatic", catalogue.No},
		{"valve-cover-off-long-reach", "hatch", "automatic", catalogue.Yes},
		{"valve-cover-off-long-reach", "cross", "manual", catalogue.No},
	} {
		known := map[string]string{"body": tc.body, "gearbox": tc.gearbox}
		facts, err := c.Facts(known, noDate)
		if err != nil {
			t.Fatal(err)
		}
		if got := facts.Holds(c.Operation(tc.operation).GetWhen()); got != tc.want {
			t.Errorf("%s on %s with %s: %v, want %v", tc.operation, tc.body, tc.gearbox, got, tc.want)
		}
	}
}

// TestRetainerByBuildDate: the dates overlap, so some dates leave it open.
func TestRetainerByBuildDate(t *testing.T) {
	c := byID(t, "marlow-orrin")
	for _, tc := range []struct{ built, want string }{
		{"2016-05-01", "strip"},
		{"2017-06-15", "strip bar"},
		{"2018-06-15", "bar"},
		{"2020-03-01", "bar carrier"},
		{"2022-01-01", "carrier"},
	} {
		facts, err := c.Facts(nil, date(t, tc.built))
		if err != nil {
			t.Fatal(err)
		}
		var values []string
		for _, v := range facts.Values("follower-retainer") {
			values = append(values, v.Value)
		}
		if got := strings.Join(values, " "); got != tc.want {
			t.Errorf("built %s: %q, want %q", tc.built, got, tc.want)
		}
	}
}

// TestCarrierStages: the staged joint that the program is shown with. Common
// practice of this shape, figures invented, no source.
func TestCarrierStages(t *testing.T) {
	joint := byID(t, "marlow-orrin").Joint("follower-retainer")
	stages := joint.GetStageSets()[2].GetStages()
	want := []struct {
		kind  pb.Stage_Kind
		value float64
	}{
		{pb.Stage_KIND_TORQUE, 10},
		{pb.Stage_KIND_TORQUE, 30},
		{pb.Stage_KIND_BACK_OFF, 0},
		{pb.Stage_KIND_TORQUE, 15},
		{pb.Stage_KIND_ANGLE, 28},
	}
	if len(stages) != len(want) {
		t.Fatalf("have %d stages, want %d", len(stages), len(want))
	}
	for i, w := range want {
		if got := stages[i]; got.GetKind() != w.kind || got.GetTorqueNm()+got.GetAngleDeg() != w.value {
			t.Errorf("stage %d: %v, want %v %g", i+1, got, w.kind, w.value)
		}
	}
}
