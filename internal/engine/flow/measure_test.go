package flow

import (
	"fmt"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

const hour = int64(time.Hour)

// at is a moment of the first day of the tests, a Monday.
func at(hours float64) int64 {
	return time.Date(2026, time.March, 2, 0, 0, 0, 0, time.UTC).UnixNano() + int64(hours*float64(hour))
}

func bay(name, kind string) Resource {
	return Resource{Name: bays + name, Versions: []Version{{Kind: kind, Title: "Bay " + name, Open: daily(8, 18)}}}
}

func worker(name string, skills ...string) Resource {
	return Resource{Name: people + name, Versions: []Version{{Skills: skills, Open: daily(8, 18)}}}
}

// daily is open from an hour to another on every day.
func daily(from, to int64) func(Span) []Span {
	return func(within Span) []Span {
		var all []Span
		for day := at(-24 * 30); day < within.To; day += 24 * hour {
			if s := (Span{day + from*hour, day + to*hour}).clip(within); s.length() > 0 {
				all = append(all, s)
			}
		}
		return all
	}
}

// during is open within some spans.
func during(spans ...Span) func(Span) []Span {
	return func(within Span) []Span {
		var all []Span
		for _, s := range spans {
			if s = s.clip(within); s.length() > 0 {
				all = append(all, s)
			}
		}
		return all
	}
}

// but leaves a span out.
func but(open func(Span) []Span, out Span) func(Span) []Span {
	return func(within Span) []Span {
		before, after := Span{within.From, min(within.To, out.From)}, Span{max(within.From, out.To), within.To}
		return append(open(before), open(after)...)
	}
}

// One bay, one person, two cars: every stretch of the second car's stay by hand.
func TestStages(t *testing.T) {
	first := Visit{Number: 1, Ended: at(15), Finished: at(14), Promised: at(14), Quoted: 5 * time.Hour, Taken: 4 * time.Hour, Tightened: 4, FirstTime: 3, Marks: []Mark{
		{At: at(7), Phase: Diagnosis},
		{At: at(9), Phase: Repair, Bay: "bays/1", Hands: "ada"},
		{At: at(11), Phase: Repair, Bay: "bays/1"},
		{At: at(12), Phase: Repair, Bay: "bays/1", Hands: "ada"},
		{At: at(14), Phase: Proving},
	}}
	second := Visit{Number: 2, Ended: at(24 + 14), Finished: at(24 + 12), Promised: at(24 + 11), Quoted: 2 * time.Hour, Taken: 3 * time.Hour, Tightened: 2, FirstTime: 2, Marks: []Mark{
		{At: at(7.5), Phase: Diagnosis},
		{At: at(8), Phase: Repair, Lacks: LacksAuthority | LacksParts},
		{At: at(9.5), Phase: Repair, Lacks: LacksParts},
		{At: at(10), Phase: Repair}, // the bay is taken until 14
		{At: at(24 + 9), Phase: Repair, Bay: "bays/1", Hands: "ada"},
		{At: at(24 + 11), Phase: Repair, Bay: "bays/1", Hands: "ada", Rework: true},
		{At: at(24 + 12), Phase: Proving},
		{At: at(24 + 13), Phase: Billing},
	}}
	f := Measure(Shop{Resources: []Resource{bay("1", "lift"), worker("ada")}, Visits: []Visit{first, second}},
		Window{From: at(0), To: at(48), Now: at(1000), Days: []int64{at(0), at(24)}})
	want := map[Stage]float64{
		InDiagnosis: .5, WaitingForAuthority: 1.5, WaitingForParts: .5, WaitingForBay: 4, WaitingItsTurn: 4 + 1, Closed: 14,
		AtWork: 2, AtRework: 1, InProving: 1, InBilling: 1,
	}
	for s := range Stages {
		if got := float64(f.Rows[1].Stages[s]) / float64(hour); got != want[Stage(s)] {
			t.Errorf("the second car, stage %d: %g h, want %g h", s, got, want[Stage(s)])
		}
	}
	if got := f.Rows[0].Stages[Standing]; got != hour {
		t.Errorf("the first car stands %v, want an hour", time.Duration(got))
	}
	if f.Arrived != 2 || f.Closed != 2 || f.Days[0].Closed != 1 || f.Days[1].Closed != 1 || f.Days[0].Most != 2 || f.Days[0].Last != 1 {
		t.Errorf("counts are %d, %d, %+v", f.Arrived, f.Closed, f.Days)
	}
	if q := f.Quote; q.Jobs != 2 || q.Over != 1 || q.Quoted != 7*hour || q.Taken != 7*hour {
		t.Errorf("quoted against taken: %+v", q)
	}
	if p := f.Promises; p.Given != 2 || p.Held != 1 {
		t.Errorf("promises: %+v", p)
	}
	if f.Joints != (Joints{6, 5}) {
		t.Errorf("joints: %+v", f.Joints)
	}
	for _, u := range f.Uses {
		want := Use{Name: u.Name, Title: u.Title, Open: 20 * hour, Busy: 8 * hour, Jobs: 2}
		if u.Name == "people/ada" {
			want.Busy = 7 * hour
		}
		if u != want {
			t.Errorf("%s: %+v, want %+v", u.Name, u, want)
		}
	}
	if f.Bottleneck != stationBays || f.LongestWait != WaitingForBay {
		t.Errorf("the bottleneck is %s, the longest wait is %d", f.Bottleneck, f.LongestWait)
	}
	// From empty to empty, Little's law holds without edges.
	if l := f.Little; l.Residual != 0 || l.Before != 0 || l.After != 0 || math.Abs(l.Jobs()-l.Product()) > 1e-12 || l.Present != f.Rows[0].Stay()+f.Rows[1].Stay() {
		t.Errorf("Little: %+v", l)
	}
}

// What a job waits for depends on what suits it.
func TestNeeds(t *testing.T) {
	taken := Visit{Number: 1, Marks: []Mark{{At: at(8), Phase: Repair, Bay: "bays/1", Hands: "ada"}}}
	tests := map[string]struct {
		needs     Needs
		resources []Resource
		want      Stage
	}{
		"another bay is free":           {Needs{}, []Resource{bay("1", "lift"), bay("2", "flat"), worker("ada"), worker("bo")}, WaitingItsTurn},
		"it does not suit":              {Needs{BayKinds: []string{"lift"}}, []Resource{bay("1", "lift"), bay("2", "flat"), worker("ada"), worker("bo")}, WaitingForBay},
		"there is none of its kind":     {Needs{BayKinds: []string{"pit"}}, []Resource{bay("1", "lift"), worker("ada"), worker("bo")}, WaitingForBay},
		"who is free may not do it":     {Needs{Skills: []string{"hv"}}, []Resource{bay("1", "lift"), bay("2", "flat"), worker("ada", "hv"), worker("bo")}, WaitingForTechnician},
		"nobody may do it":              {Needs{Skills: []string{"gas"}}, []Resource{bay("1", "lift"), bay("2", "flat"), worker("bo")}, WaitingForTechnician},
		"nobody has told of bays":       {Needs{}, nil, WaitingItsTurn},
		"the other bay is closed today": {Needs{}, []Resource{bay("1", "lift"), away(bay("2", "lift"), 9, 17), worker("ada"), worker("bo")}, WaitingForBay},
		"the other bay was given up":    {Needs{}, []Resource{bay("1", "lift"), {Name: "bays/2", Versions: []Version{{}, {Since: at(9), Retired: true}}}, worker("ada"), worker("bo")}, WaitingForBay},
	}
	for name, c := range tests {
		waits := Visit{Number: 2, Needs: c.needs, Marks: []Mark{{At: at(10), Phase: Repair}}}
		f := Measure(Shop{Resources: c.resources, Visits: []Visit{taken, waits}}, Window{From: at(0), To: at(48), Now: at(11)})
		if got := f.Rows[1].Stages[c.want]; got != hour {
			t.Errorf("%s: %v", name, f.Rows[1].Stages)
		}
	}
}

func away(r Resource, from, to float64) Resource {
	r.Versions[0].Open = but(r.Versions[0].Open, Span{at(from), at(to)})
	return r
}

func TestOpenHours(t *testing.T) {
	r := Resource{Name: "bays/1", Versions: []Version{
		{Since: at(9), Open: during(Span{at(8), at(10)}, Span{at(10.5), at(12)}, Span{at(13), at(17)})},
		{Since: at(16), Open: during(Span{at(8), at(20)})},
		{Since: at(18), Retired: true},
	}}
	want := []Span{{at(9), at(10)}, {at(10.5), at(12)}, {at(13), at(18)}}
	if got := r.open(Span{at(-48), at(100)}); fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("open %v, want %v", got, want)
	}
}

// In any shop and any window: both sides of Little's law agree to the nanosecond, stages fill stays without a gap or an
// overlap, days add up to the window, and nobody is busy for longer than the window.
func TestLawsOfTheFigures(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		shop := drawShop(t)
		from := at(rapid.Float64Range(-20, 60).Draw(t, "from"))
		w := Window{From: from, To: from + rapid.Int64Range(1, 100*hour).Draw(t, "length")}
		w.Now = w.From + rapid.Int64Range(0, 120*hour).Draw(t, "now")
		for day := w.From; day < w.To; day += 24 * hour {
			w.Days = append(w.Days, day)
		}
		f := Measure(shop, w)
		if f.Little.Residual != 0 {
			t.Fatalf("Little's law: %+v", f.Little)
		}
		var inStages, inDays, most int64
		for _, s := range f.Stages {
			inStages += s.InWindow
		}
		sum := Day{}
		for _, d := range f.Days {
			inDays += d.Present
			sum.Arrived, sum.Closed, sum.Cancelled = sum.Arrived+d.Arrived, sum.Closed+d.Closed, sum.Cancelled+d.Cancelled
			most = max(most, int64(d.Most))
		}
		if inStages != f.Little.Present || inDays != f.Little.Present {
			t.Fatalf("stages hold %d, days %d, jobs were here for %d", inStages, inDays, f.Little.Present)
		}
		if sum.Arrived != f.Arrived || sum.Closed != f.Closed || sum.Cancelled != f.Cancelled {
			t.Fatalf("the days say %+v, the window %d %d %d", sum, f.Arrived, f.Closed, f.Cancelled)
		}
		var mean int64
		for _, s := range f.Stages {
			mean += s.Total
		}
		if mean != f.Stay.Total {
			t.Fatalf("stages of closed jobs add up to %d, their stays to %d", mean, f.Stay.Total)
		}
		for i := range f.Rows {
			r := &f.Rows[i]
			if got := r.Stay(); got != r.until(f.To)-r.Arrived {
				t.Fatalf("job %d was here for %d, its stages say %d", r.Number, r.until(f.To)-r.Arrived, got)
			}
		}
		for _, u := range f.Uses {
			if u.Busy > u.Open || u.Busy+u.Beyond > f.length() {
				t.Fatalf("%+v in a window of %d", u, f.length())
			}
		}
	})
}

// At each moment that is drawn, the stage is the one that follows from asking everybody at that moment.
func TestStageAtAMoment(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		shop := drawShop(t)
		w := Window{From: at(-30), To: at(90), Now: at(90)}
		span := Span{at(-60), at(90)}
		s := look(shop, span)
		moment := rapid.Int64Range(w.From, w.To-1).Draw(t, "moment")
		for i := range shop.Visits {
			v := &shop.Visits[i]
			want, here := asked(shop, v, moment)
			var got []Stage
			for _, part := range s.stretches(v) {
				if part.From <= moment && moment < part.To {
					got = append(got, part.stage)
				}
			}
			if here && (len(got) != 1 || got[0] != want) || !here && len(got) != 0 {
				t.Fatalf("job %d at %v: %v, want %v (here: %t)", v.Number, time.Unix(0, moment).UTC(), got, want, here)
			}
		}
	})
}

// asked finds a job's stage at one moment from the definitions alone.
func asked(shop Shop, v *Visit, moment int64) (Stage, bool) {
	holds := func(v *Visit) (Mark, bool) {
		var found Mark
		here := false
		for _, m := range v.Marks {
			if m.At <= moment {
				found, here = m, v.Ended == 0 || moment < v.Ended
			}
		}
		return found, here
	}
	m, here := holds(v)
	if !here {
		return 0, false
	}
	if stage, known := m.stage(); known {
		return stage, true
	}
	busy := map[string]bool{}
	for i := range shop.Visits {
		if other, here := holds(&shop.Visits[i]); here {
			busy[other.Bay] = true
			for _, hand := range other.hands() {
				busy[people+hand] = true
			}
		}
	}
	var exists, open, free [2]bool
	for i := range shop.Resources {
		r := &shop.Resources[i]
		n := r.version(moment)
		if n < 0 || r.Versions[n].Retired {
			continue
		}
		version := r.Versions[n]
		kind := 0
		if isPerson(r.Name) {
			kind = 1
			if !able(version, v.Needs.Skills) {
				continue
			}
		} else if len(v.Needs.BayKinds) > 0 && v.Needs.BayKinds[0] != version.Kind {
			continue
		}
		inShift := version.Open == nil || len(version.Open(Span{moment, moment + 1})) > 0
		exists[kind] = true
		open[kind] = open[kind] || inShift
		free[kind] = free[kind] || inShift && !busy[r.Name]
	}
	if m.Bay != "" {
		switch {
		case !exists[1]:
			return WaitingForTechnician, true
		case !open[1]:
			return Closed, true
		case !free[1]:
			return WaitingForTechnician, true
		}
		return Standing, true
	}
	switch {
	case !exists[0]:
		return WaitingForBay, true
	case !exists[1]:
		return WaitingForTechnician, true
	case !open[0] || !open[1]:
		return Closed, true
	case !free[0]:
		return WaitingForBay, true
	case !free[1]:
		return WaitingForTechnician, true
	}
	return WaitingItsTurn, true
}

// drawShop makes a shop of some bays and people, and jobs that go through it as they like. One bay is never given up, so
// that somebody has told of bays.
func drawShop(t *rapid.T) Shop {
	shop := Shop{Resources: []Resource{bay("1", "lift")}}
	moment := rapid.Custom(func(t *rapid.T) int64 { return at(rapid.Float64Range(-40, 80).Draw(t, "hour")) })
	for i := range rapid.IntRange(0, 3).Draw(t, "resources") {
		r := bay(fmt.Sprint(i+2), rapid.SampledFrom([]string{"lift", "flat"}).Draw(t, "kind"))
		if rapid.Bool().Draw(t, "person") {
			r = worker(fmt.Sprint("p", i), rapid.SampledFrom([]string{"hv", "gas"}).Draw(t, "skill"))
		}
		first := moment.Draw(t, "away")
		r.Versions[0].Open = but(r.Versions[0].Open, Span{first, first + rapid.Int64Range(0, 30*hour).Draw(t, "length")})
		if rapid.Bool().Draw(t, "changes") {
			r.Versions = append(r.Versions, Version{Since: moment.Draw(t, "since"), Kind: "flat", Skills: []string{"gas"}, Retired: rapid.Bool().Draw(t, "retired")})
		}
		shop.Resources = append(shop.Resources, r)
	}
	for i := range rapid.IntRange(0, 5).Draw(t, "visits") {
		v := Visit{Number: uint64(i + 1)}
		if rapid.Bool().Draw(t, "choosy") {
			v.Needs = Needs{BayKinds: []string{"lift"}, Skills: []string{"hv"}}
		}
		mark := moment.Draw(t, "arrives")
		for range rapid.IntRange(0, 6).Draw(t, "marks") {
			v.Note(Mark{
				At: mark, Phase: Phase(rapid.IntRange(0, 3).Draw(t, "phase")), Lacks: Lack(rapid.IntRange(0, 3).Draw(t, "lacks")), Rework: rapid.Bool().Draw(t, "rework"),
				Bay: rapid.SampledFrom([]string{"", "bays/1", "bays/2"}).Draw(t, "bay"), Hands: rapid.SampledFrom([]string{"", "p0", "p1", "p0 p1"}).Draw(t, "hands"),
			})
			mark += rapid.Int64Range(-hour, 20*hour).Draw(t, "gap") // now and then a clock goes back
		}
		if rapid.Bool().Draw(t, "ends") {
			v.End(mark, rapid.Bool().Draw(t, "cancelled"))
		}
		shop.Visits = append(shop.Visits, v)
	}
	return shop
}
