package planner_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"ramprow/internal/engine/planner"
)

// TestAMarginCoversWhatIsPromised: whichever of n+1 promises is the next one, the margin
// learned from the others covers it in no fewer than the share of cases, and where no
// two are alike in no more than 1/(n+1) more. That is the published theorem, without
// chance in it: exchangeable means that each of them is as likely to be the next (Vovk,
// Gammerman and Shafer 2005; Lei and others 2018, theorem 2).
func TestAMarginCoversWhatIsPromised(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		share := rapid.SampledFrom([]float64{0.5, 0.8, 0.9}).Draw(t, "share")
		minutes := rapid.IntRange(-600, 3000)
		alike := rapid.Bool().Draw(t, "some alike")
		draw := rapid.SliceOfNDistinct(minutes, 11, 60, rapid.ID[int])
		if alike {
			draw = rapid.SliceOfN(rapid.IntRange(-3, 3), 11, 60)
		}
		late := draw.Draw(t, "minutes late")
		covered := 0
		for next := range late {
			m := planner.MarginOf(turned(append(slices.Clone(late[:next]), late[next+1:]...)...), share)
			if m.Of != len(late)-1 {
				t.Fatalf("learned from %d of %d", m.Of, len(late)-1)
			}
			if time.Duration(late[next])*time.Minute <= m.Add {
				covered++
			}
		}
		got, n := float64(covered)/float64(len(late)), float64(len(late)-1)
		if got < share-1e-9 || !alike && got > share+1/(n+1)+1e-9 {
			t.Fatalf("%.4f are covered, %.2f were meant to be", got, share)
		}
	})
}

func turned(minutes ...int) []planner.Turned {
	var all []planner.Turned
	for _, m := range minutes {
		all = append(all, planner.Turned{Late: time.Duration(m) * time.Minute})
	}
	return all
}

func TestMarginOf(t *testing.T) {
	nine := turned(1, 2, 3, 4, 5, 6, 7, 8, 9)
	open := planner.Turned{Late: time.Minute, Open: true}
	for name, c := range map[string]struct {
		past []planner.Turned
		want planner.Margin
	}{
		"nothing":                           {nil, planner.Margin{}},
		"one too few":                       {nine, planner.Margin{}},
		"ten: the ninth":                    {append(turned(10), nine...), planner.Margin{Add: 9 * time.Minute, Of: 10}},
		"one is open: later than all":       {append([]planner.Turned{open}, nine...), planner.Margin{Add: 9 * time.Minute, Of: 10}},
		"most are open: the latest known":   {append(slices.Repeat([]planner.Turned{open}, 9), nine[3]), planner.Margin{Add: 4 * time.Minute, Of: 10}},
		"all are open: nothing is known":    {slices.Repeat([]planner.Turned{open}, 10), planner.Margin{}},
		"too careful: sooner than foreseen": {turned(slices.Repeat([]int{-20}, 19)...), planner.Margin{Add: -20 * time.Minute, Of: 19}},
	} {
		if got := planner.MarginOf(c.past, planner.Promised); got != c.want {
			t.Errorf("%s: %+v, want %+v", name, got, c.want)
		}
	}
}

// TestHoursCountNoNight: by hand, of a shop from eight to five on weekdays with an hour at noon.
func TestHoursCountNoNight(t *testing.T) {
	var c, late planner.Calendar
	for d := time.Monday; d <= time.Friday; d++ {
		c.Shifts = append(c.Shifts, planner.Shift{Weekday: d, From: 8 * 60, To: 12 * 60}, planner.Shift{Weekday: d, From: 13 * 60, To: 17 * 60})
	}
	late.Shifts = []planner.Shift{{Weekday: time.Tuesday, From: 16 * 60, To: 20 * 60}}
	clock := func(day, hour, minute int) time.Time { return time.Date(2026, 3, day, hour, minute, 0, 0, time.UTC) }
	within := planner.Interval{Start: clock(1, 0, 0), End: clock(31, 0, 0)}
	h := planner.HoursOf([]planner.Calendar{c, late}, within, nil)
	for _, x := range []struct {
		from, to time.Time
		open     time.Duration
	}{
		{clock(2, 16, 0), clock(3, 9, 0), 2 * time.Hour},
		{clock(2, 11, 30), clock(2, 13, 30), time.Hour},
		{clock(3, 16, 30), clock(4, 8, 30), 4 * time.Hour}, // someone is there until eight in the evening
		{clock(6, 16, 59), clock(9, 8, 1), 2 * time.Minute},
	} {
		if got := h.Between(x.from, x.to); got != x.open || h.Between(x.to, x.from) != -x.open {
			t.Errorf("from %v to %v: %v, want %v", x.from, x.to, got, x.open)
		}
		if got := h.After(x.from, x.open); !got.Equal(x.to) {
			t.Errorf("%v after %v: %v, want %v", x.open, x.from, got, x.to)
		}
		if got := h.After(x.to, -x.open); !got.Equal(x.from) {
			t.Errorf("%v before %v: %v, want %v", x.open, x.to, got, x.from)
		}
	}
	if got := h.After(clock(2, 16, 0), time.Hour); !got.Equal(clock(2, 17, 0)) {
		t.Errorf("what is done in an hour at four is done at five, not %v", got)
	}
	if got := h.After(clock(2, 9, 0), 10000*time.Hour); !got.Equal(clock(30, 17, 0)) {
		t.Errorf("the range bounds it, not %v", got)
	}
	if got := h.After(clock(2, 9, 0), -10000*time.Hour); !got.Equal(clock(2, 8, 0)) {
		t.Errorf("the range bounds it, not %v", got)
	}
	nobody := planner.HoursOf(nil, within, nil)
	if got := nobody.Between(clock(2, 16, 0), clock(3, 9, 0)); got != 17*time.Hour {
		t.Errorf("without anybody every moment counts, not %v", got)
	}
}

// TestHoursThereAndBack: so much after and so much before, against counting minutes one by one.
func TestHoursThereAndBack(t *testing.T) {
	c := planner.Calendar{Shifts: []planner.Shift{{Weekday: time.Monday, From: 60, To: 600}, {Weekday: time.Tuesday, From: 0, To: 300}}}
	h := planner.HoursOf([]planner.Calendar{c}, planner.Interval{Start: monday.AddDate(0, 0, -14), End: monday.AddDate(0, 0, 28)}, nil)
	rapid.Check(t, func(t *rapid.T) {
		from := monday.Add(time.Duration(rapid.IntRange(-3000, 3000).Draw(t, "from")) * time.Minute)
		minutes := rapid.IntRange(0, 1500).Draw(t, "minutes")
		open, m := 0, 0
		for ; m < minutes; m++ {
			when := from.Add(time.Duration(m) * time.Minute)
			minute := when.Hour()*60 + when.Minute()
			if when.Weekday() == time.Monday && minute >= 60 && minute < 600 || when.Weekday() == time.Tuesday && minute < 300 {
				open++
			}
		}
		to := from.Add(time.Duration(m) * time.Minute)
		if got := h.Between(from, to); math.Abs(got.Minutes()-float64(open)) > 1e-9 {
			t.Fatalf("from %v to %v: %v, counted %d minutes", from, to, got, open)
		}
		if got := h.After(from, time.Duration(open)*time.Minute); got.After(to) || h.Between(from, got) != time.Duration(open)*time.Minute {
			t.Fatalf("%d minutes after %v: %v", open, from, got)
		}
	})
}
