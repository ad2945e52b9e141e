package month

import (
	"bytes"
	"reflect"
	"strings"
	"testing"
)

// watched asks after every decision whether what was decided is possible.
type watched struct {
	policy
	t *testing.T
}

func (w watched) next(f *floor) {
	w.policy.next(f)
	bays, people := map[int]string{}, map[int]string{}
	for _, x := range f.works {
		if !x.inBay() {
			continue
		}
		if other, taken := bays[x.bay]; taken {
			w.t.Errorf("%v: %s and %s are in one bay", f.now, other, x.name)
		}
		bays[x.bay] = x.name
		if x.person == none {
			continue
		}
		if other, taken := people[x.person]; taken || f.isIll(x.person) || x.stalled(f.now) {
			w.t.Errorf("%v: %s and %s have one person, or he is ill, or there is nothing to do", f.now, other, x.name)
		}
		people[x.person] = x.name
		if x.started.Before(x.arrives) {
			w.t.Errorf("%s was opened at %v and comes at %v", x.name, x.started, x.arrives)
		}
	}
}

// TestEveryPolicyWorksThroughTheMonth: whatever decides, nobody is in two places, every
// car is finished in the end, and none before its work was done.
func TestEveryPolicyWorksThroughTheMonth(t *testing.T) {
	for name, p := range map[string]policy{"plan": newByPlan(newRecord()), "first come": firstCome(), "shortest": shortest()} {
		f := newFloor(draw(1), watched{p, t})
		f.run()
		for _, w := range f.works {
			if w.ended.IsZero() || w.worked != w.effort || w.ended.Sub(w.started) < w.effort {
				t.Errorf("%s: %s began %v, ended %v, worked %v of %v", name, w.name, w.started, w.ended, w.worked, w.effort)
			}
			if !w.partsEta.IsZero() && w.effort > w.untilPart && !w.ended.After(w.partsCome) {
				t.Errorf("%s: %s was done before its parts came", name, w.name)
			}
		}
	}
}

// TestTheSameMonthGivesTheSameResult, and the table names every way of deciding.
func TestTheSameMonthGivesTheSameResult(t *testing.T) {
	first, err := Run(t.Context(), 1)
	if err != nil {
		t.Fatal(err)
	}
	again, err := Run(t.Context(), 1)
	if err != nil || !reflect.DeepEqual(first, again) {
		t.Errorf("%v\n%v\n%v", first, again, err)
	}
	var out bytes.Buffer
	if err := WriteTable(&out, first, 1); err != nil {
		t.Fatal(err)
	}
	for _, r := range first {
		if !strings.Contains(out.String(), r.Policy) || r.Cars != workdays*carsPerDay {
			t.Errorf("%+v is not told:\n%s", r, out.String())
		}
	}
	// A car is not opened before its parts are sure: that is what a plan is for.
	if first[0].DeadBayHours >= first[2].DeadBayHours {
		t.Errorf("the plan holds bays for %.0f hours without work, first come first served for %.0f", first[0].DeadBayHours, first[2].DeadBayHours)
	}
}
