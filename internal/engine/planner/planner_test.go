package planner_test

import (
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"ramprow/internal/engine/planner"
	"ramprow/internal/engine/planner/check"
)

// shop has two lifts and a pit, two mechanics of whom one may open a
// refrigerant circuit, and one locking tool. Everybody works from 8 to 17.
func shop(jobs ...planner.Job) planner.Problem {
	return planner.Problem{
		Now: monday, Grid: 5 * time.Minute, Grace: 15 * time.Minute,
		Bays: []planner.Bay{{Name: "bays/one", Kind: "lift"}, {Name: "bays/two", Kind: "lift"}, {Name: "bays/pit", Kind: "pit"}},
		People: []planner.Person{
			{Name: "people/anna", Skills: []planner.Skill{{Name: "engine"}}, Calendar: weekdays()},
			{Name: "people/ben", Skills: []planner.Skill{{Name: "engine"}, {Name: "refrigerant", Expires: monday.AddDate(0, 0, 3)}}, Calendar: weekdays()},
		},
		Tools: []planner.Tool{{Name: "tools/lock-1", Type: "lock"}},
		Jobs:  jobs,
	}
}

func weekdays() planner.Calendar {
	var c planner.Calendar
	for day := time.Monday; day <= time.Friday; day++ {
		c.Shifts = append(c.Shifts, planner.Shift{Weekday: day, From: 8 * 60, To: 17 * 60})
	}
	return c
}

func job(name string, hours float64) planner.Job {
	return planner.Job{Name: name, Effort: time.Duration(hours * float64(time.Hour)), BayKinds: []string{"lift"}, Skills: []string{"engine"}}
}

func hour(h float64) time.Time { return monday.Add(time.Duration(h * float64(time.Hour))) }

func mustPlan(t *testing.T, p planner.Problem) planner.Plan {
	t.Helper()
	plan, err := planner.Make(p)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range check.Plan(p, plan) {
		t.Errorf("the checker says: %v", v)
	}
	return plan
}

func placed(t *testing.T, plan planner.Plan, name string) planner.Placement {
	t.Helper()
	for _, p := range plan.Placements {
		if p.Job == name {
			return p
		}
	}
	t.Fatalf("%s has no place: %v", name, plan.Unplaced)
	return planner.Placement{}
}

// asBooked gives the problem again with the plan as what is booked.
func asBooked(p planner.Problem, plan planner.Plan) planner.Problem {
	jobs := append([]planner.Job(nil), p.Jobs...)
	for i, j := range jobs {
		for _, at := range plan.Placements {
			if at.Job == j.Name {
				jobs[i].Current = &planner.Current{Bay: at.Bay, Person: at.Person, Tools: at.Tools, When: at.When}
			}
		}
	}
	p.Jobs = jobs
	return p
}

func TestAPlacementExplainsItself(t *testing.T) {
	late := job("jobs/2", 2)
	late.Release, late.ReleaseWhy = hour(3), "the car comes"
	plan := mustPlan(t, shop(job("jobs/1", 2), late, job("jobs/3", 8.5), job("jobs/4", 1)))
	if why := placed(t, plan, "jobs/2").Why; !strings.Contains(why, "not before Mon 2 Mar 11:00, when the car comes") &&
		!strings.Contains(why, "held by") {
		t.Errorf("jobs/2: %q", why)
	}
	for _, p := range plan.Placements {
		if p.Why == "" {
			t.Errorf("%s does not say why", p.Job)
		}
		if len(p.Waited) > 0 && p.Waited[len(p.Waited)-1].Until.After(p.When.Start) {
			t.Errorf("%s starts at %v and waited for %v", p.Job, p.When.Start, p.Waited)
		}
	}
}

func TestABayIsHeldOverNight(t *testing.T) {
	plan := mustPlan(t, shop(job("jobs/1", 12)))
	p := placed(t, plan, "jobs/1")
	if !p.When.Start.Equal(hour(0)) || !p.When.End.Equal(hour(27)) { // 9 h on Monday, 3 h on Tuesday
		t.Errorf("12 h of work lie at %v", p.When)
	}
}

func TestOneToolIsInOnePlace(t *testing.T) {
	a, b := job("jobs/1", 2), job("jobs/2", 2)
	a.ToolTypes, b.ToolTypes = []string{"lock"}, []string{"lock"}
	plan := mustPlan(t, shop(a, b))
	p := placed(t, plan, "jobs/2")
	if !p.When.Start.Equal(hour(2)) || !strings.Contains(p.Why, "tools/lock-1 held by jobs/1") {
		t.Errorf("jobs/2 lies at %v because %q", p.When, p.Why)
	}
}

// TestUrgentGoesFirst: both can only be done by ben; the one that is wanted at noon goes first.
func TestUrgentGoesFirst(t *testing.T) {
	a, b := job("jobs/1", 3), job("jobs/2", 3)
	a.Skills, b.Skills = []string{"refrigerant"}, []string{"refrigerant"}
	a.Due, b.Due = hour(9), hour(3)
	plan := mustPlan(t, shop(a, b))
	if !placed(t, plan, "jobs/2").When.Start.Equal(hour(0)) || plan.Cost.Late != 0 {
		t.Errorf("got %+v", plan)
	}
}

func TestNothingMovesWithoutNeed(t *testing.T) {
	p := shop(job("jobs/1", 2), job("jobs/2", 3), job("jobs/3", 4), job("jobs/4", 1))
	p = asBooked(p, mustPlan(t, p))
	p.Jobs = append(p.Jobs, job("jobs/5", 0.5))
	plan := mustPlan(t, p)
	for _, at := range plan.Placements {
		if at.Kept != (at.Job != "jobs/5") {
			t.Errorf("%s: kept %v, %s", at.Job, at.Kept, at.Why)
		}
	}
	if again := mustPlan(t, p); !reflect.DeepEqual(plan, again) {
		t.Error("the same problem gave another plan")
	}
}

// TestIllnessMovesOnlyWhatItMust: anna is away on Monday; what she had goes elsewhere.
func TestIllnessMovesOnlyWhatItMust(t *testing.T) {
	p := shop(job("jobs/1", 2), job("jobs/2", 2))
	p.Jobs[0].Due, p.Jobs[1].Due = hour(9), hour(9)
	plan := mustPlan(t, p)
	p = asBooked(p, plan)
	p.People[0].Calendar.Blocks = []planner.Block{{When: planner.Interval{Start: hour(-1), End: hour(23)}, Why: "ill"}}
	after := mustPlan(t, p)
	kept := 0
	for _, at := range after.Placements {
		if at.Kept {
			kept++
		}
		if at.Person != "people/ben" {
			t.Errorf("%s is with %s", at.Job, at.Person)
		}
	}
	if kept != 1 || after.Cost.Late != 0 {
		t.Errorf("kept %d: %+v", kept, after)
	}
}

func TestStartedWorkStaysAndPushes(t *testing.T) {
	p := shop(job("jobs/1", 2), job("jobs/2", 2))
	p.Bays = p.Bays[:1]
	p = asBooked(p, mustPlan(t, p))
	p.Now = hour(1)
	p.Jobs[0].Started = &planner.Started{At: hour(0), Bay: "bays/one", Person: "people/anna", Since: hour(1), Left: 4 * time.Hour}
	p.Jobs[0].Current = nil
	plan := mustPlan(t, p)
	if at := placed(t, plan, "jobs/1"); !at.When.End.Equal(hour(5)) {
		t.Errorf("what is left ends at %v", at.When.End)
	}
	if at := placed(t, plan, "jobs/2"); !at.When.Start.Equal(hour(5)) || !strings.Contains(at.Why, "bays/one, people/anna held by jobs/1") {
		t.Errorf("jobs/2 lies at %v: %s", at.When, at.Why)
	}
}

func TestAPinHoldsAgainstUrgency(t *testing.T) {
	p := shop(job("jobs/1", 4))
	p.Bays, p.People = p.Bays[:1], p.People[:1]
	p = asBooked(p, mustPlan(t, p))
	p.Jobs[0].Pinned = true
	rush := job("jobs/2", 1)
	rush.Priority, rush.Due = 9, hour(1)
	p.Jobs = append(p.Jobs, rush)
	if at := placed(t, mustPlan(t, p), "jobs/1"); !at.Kept {
		t.Errorf("a pinned job moved: %+v", at)
	}
	p.Jobs[0].Pinned = false
	if at := placed(t, mustPlan(t, p), "jobs/2"); !at.When.Start.Equal(hour(0)) {
		t.Errorf("a rush job waits for an ordinary one: %+v", at)
	}
}

func TestAContradictoryProblemIsRefused(t *testing.T) {
	for name, p := range map[string]planner.Problem{
		"twice":    shop(job("jobs/1", 1), job("jobs/1", 1)),
		"negative": shop(job("jobs/1", -1)),
		"nameless": shop(job("", 1)),
	} {
		if _, err := planner.Make(p); err == nil {
			t.Errorf("%s was planned", name)
		}
	}
}

// TestWhyItIsImpossible: the plain cases, each with exactly the facts that
// stand in the way.
func TestWhyItIsImpossible(t *testing.T) {
	begun := job("jobs/9", 4)
	begun.Started = &planner.Started{At: hour(-1), Bay: "bays/one", Person: "people/anna", Since: monday, Left: 4 * time.Hour}
	for name, c := range map[string]struct {
		change func(*planner.Job)
		kinds  string
		words  string
	}{
		"no such bay":  {func(j *planner.Job) { j.BayKinds = []string{"alignment"} }, "NO_BAY", "no bay of kind alignment"},
		"nobody can":   {func(j *planner.Job) { j.Skills = []string{"high-voltage"} }, "NO_PERSON", "nobody has high-voltage"},
		"no such tool": {func(j *planner.Job) { j.ToolTypes = []string{"puller"} }, "NO_TOOL", "no tool puller"},
		"two of one":   {func(j *planner.Job) { j.ToolTypes = []string{"lock", "lock"} }, "NO_TOOL", "not enough pieces"},
		"licence ends": {func(j *planner.Job) { j.Skills, j.Effort = []string{"refrigerant"}, 40*time.Hour }, "LICENCE_ENDS", "people/ben ends at Thu 5 Mar"},
		"too long":     {func(j *planner.Job) { j.Effort = 5000 * time.Hour }, "NO_ROOM NO_ROOM", "people/anna has no room"},
		"wish before car": {func(j *planner.Job) {
			j.Release, j.ReleaseWhy = hour(3), "the car comes"
			j.Wish = &planner.Wish{Start: hour(1)}
		}, "NOT_RELEASED", "when the car comes"},
		"wish at night":      {func(j *planner.Job) { j.Wish = &planner.Wish{Start: hour(12)} }, "NOT_THERE NOT_THERE", "people/ben is not there"},
		"wish over begun":    {func(j *planner.Job) { j.Wish = &planner.Wish{Bay: "bays/one", Start: hour(1)} }, "HELD", "bays/one held by jobs/9 (begun)"},
		"wish for busy anna": {func(j *planner.Job) { j.Wish = &planner.Wish{Person: "people/anna", Start: hour(1)} }, "HELD", "people/anna held by jobs/9 (begun)"},
		"wish over a block":  {func(j *planner.Job) { j.Wish = &planner.Wish{Bay: "bays/two", Start: hour(24)} }, "BLOCKED", "bays/two is away"},
	} {
		t.Run(name, func(t *testing.T) {
			j := job("jobs/1", 2)
			c.change(&j)
			p := shop(begun, j)
			p.Bays[1].Calendar.Blocks = []planner.Block{{When: planner.Interval{Start: hour(24), End: hour(26)}, Why: "maintenance"}}
			plan := mustPlan(t, p)
			if len(plan.Unplaced) != 1 {
				t.Fatalf("placed: %+v", plan.Placements)
			}
			var kinds []string
			for _, f := range plan.Unplaced[0].Facts {
				kinds = append(kinds, string(f.Kind))
			}
			if got := strings.Join(kinds, " "); got != c.kinds || !strings.Contains(plan.Unplaced[0].Error(), c.words) {
				t.Errorf("got %s (%v), want %s: %s", got, plan.Unplaced[0], c.kinds, c.words)
			}
		})
	}
}

func workshop(bays, people, jobs int) planner.Problem {
	p := planner.Problem{Now: monday, Grid: 5 * time.Minute}
	kinds := []string{"lift", "lift", "pit", "flat"}
	for i := range bays {
		p.Bays = append(p.Bays, planner.Bay{Name: fmt.Sprintf("bays/%d", i), Kind: kinds[i%len(kinds)]})
	}
	for i := range people {
		h := planner.Person{Name: fmt.Sprintf("people/%d", i), Skills: []planner.Skill{{Name: "engine"}}, Calendar: weekdays()}
		if i%3 == 0 {
			h.Skills = append(h.Skills, planner.Skill{Name: "refrigerant"})
		}
		p.People = append(p.People, h)
	}
	for i := range jobs {
		j := job(fmt.Sprintf("jobs/%d", i), 1+float64(i*7%23)/2)
		j.BayKinds = []string{kinds[i%len(kinds)]}
		j.Release, j.Due = hour(float64(i*5%80)), hour(float64(i*5%80+40))
		if i%5 == 0 {
			j.Skills = append(j.Skills, "refrigerant")
		}
		p.Jobs = append(p.Jobs, j)
	}
	return p
}

// TestWishFindsAFreePiece: of three pieces that are alike, begun work holds two. A
// wish for the same time gets the third, and the next one is told who has which.
func TestWishFindsAFreePiece(t *testing.T) {
	p := shop()
	p.Tools = nil
	for i := range 3 {
		p.Bays = append(p.Bays, planner.Bay{Name: fmt.Sprintf("bays/more-%d", i), Kind: "lift"})
		p.People = append(p.People, planner.Person{Name: fmt.Sprintf("people/more-%d", i), Skills: []planner.Skill{{Name: "engine"}}, Calendar: weekdays()})
		p.Tools = append(p.Tools, planner.Tool{Name: fmt.Sprintf("tools/lock-%d", i), Type: "lock"})
	}
	for i := range 2 {
		j := job(fmt.Sprintf("jobs/%d", i), 4)
		j.ToolTypes = []string{"lock"}
		j.Started = &planner.Started{
			At: monday, Since: monday, Left: j.Effort, Bay: p.Bays[i].Name, Person: p.People[i].Name,
			Tools: []string{p.Tools[i].Name},
		}
		p.Jobs = append(p.Jobs, j)
	}
	for i := range 2 {
		j := job(fmt.Sprintf("jobs/wished-%d", i), 2)
		j.ToolTypes, j.Wish = []string{"lock"}, &planner.Wish{Start: hour(1)}
		p.Jobs = append(p.Jobs, j)
	}
	plan := mustPlan(t, p)
	if got := placed(t, plan, "jobs/wished-0"); !reflect.DeepEqual(got.Tools, []string{"tools/lock-2"}) || !got.When.Start.Equal(hour(1)) {
		t.Errorf("the first wish lies at %+v", got)
	}
	if len(plan.Unplaced) != 1 {
		t.Fatalf("not placed: %v", plan.Unplaced)
	}
	var held []string
	for _, f := range plan.Unplaced[0].Facts {
		held = append(held, f.Resource)
	}
	if got := strings.Join(held, " "); got != "tools/lock-0 tools/lock-1 tools/lock-2" {
		t.Errorf("the second wish is told of %s", got)
	}
}

// BenchmarkMake plans a small and a large workshop from nothing.
func BenchmarkMake(b *testing.B) {
	for _, size := range [][3]int{{5, 5, 20}, {30, 40, 200}} {
		p := workshop(size[0], size[1], size[2])
		b.Run(fmt.Sprintf("bays=%d/jobs=%d", size[0], size[2]), func(b *testing.B) {
			for b.Loop() {
				if _, err := planner.Make(p); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkInsert puts one more job into a standing plan of ten, as a confirmed
// diagnosis does: eight bays, six people, three pieces of each special tool, and
// jobs that want up to three of them.
func BenchmarkInsert(b *testing.B) {
	p := workshop(8, 6, 11)
	types := []string{"lock", "pin", "holder"}
	for _, toolType := range types {
		for i := range 3 {
			p.Tools = append(p.Tools, planner.Tool{Name: fmt.Sprintf("tools/%s-%d", toolType, i), Type: toolType})
		}
	}
	for i := range p.Jobs {
		p.Jobs[i].Release = time.Time{}
		p.Jobs[i].ToolTypes = types[:1+i%3]
	}
	standing := p
	standing.Jobs = p.Jobs[:10]
	plan, err := planner.Make(standing)
	if err != nil {
		b.Fatal(err)
	}
	for i, placed := range plan.Placements {
		p.Jobs[i].Current = &planner.Current{Bay: placed.Bay, Person: placed.Person, Tools: placed.Tools, When: placed.When}
	}
	for b.Loop() {
		if _, err := planner.Make(p); err != nil {
			b.Fatal(err)
		}
	}
}
