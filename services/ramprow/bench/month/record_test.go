package month

import (
	"slices"
	"testing"
	"time"

	"ramprow/internal/engine/planner"
)

// TestTheRecordKnowsWhatIsPast: a promise counts once its foreseen time has come, whether
// the car is done or not; what will happen is not looked at.
func TestTheRecordKnowsWhatIsPast(t *testing.T) {
	r := newRecord()
	noon := day(3).Add(12 * time.Hour)
	for _, c := range []struct{ foreseen, ended time.Time }{
		{noon.Add(-2 * time.Hour), noon.Add(-time.Hour)},
		{noon.Add(-2 * time.Hour), time.Time{}},
		{noon.Add(2 * time.Hour), noon.Add(-3 * time.Hour)}, // done long before: quick ones alone must not count
	} {
		w := &work{car: &car{}, ended: c.ended}
		if at := r.say(w, day(0), said{foreseen: c.foreseen, planned: c.foreseen}); !at.Equal(c.foreseen) {
			t.Errorf("with nothing learned %v is promised for %v", at, c.foreseen)
		}
	}
	want := []planner.Turned{{Late: time.Hour}, {Open: true}}
	if got := r.turned(noon); !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
	for range 3 * planner.Remembered {
		r.say(&work{car: &car{}, ended: noon}, day(0), said{foreseen: noon.Add(-30 * time.Minute), planned: noon})
	}
	r.end(noon)
	if got := r.turned(day(0)); len(got) != planner.Remembered || got[0].Late != 30*time.Minute {
		t.Errorf("%d are remembered, the first %v", len(got), got[0])
	}
	// Half an hour more than foreseen, over the pause at noon, and not before the plan's end.
	at := r.say(&work{car: &car{}}, noon, said{foreseen: noon.Add(-10 * time.Minute), planned: noon})
	if !at.Equal(noon.Add(50 * time.Minute)) {
		t.Errorf("promised for %v", at)
	}
}
