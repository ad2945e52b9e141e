package planner

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

// TestFinishAgainstCountingMinutes: working time is counted minute by minute, as
// one would on paper.
func TestFinishAgainstCountingMinutes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		const length = 400
		var open [length]bool
		var spans []span
		for at := 0; at < length; {
			at += rapid.IntRange(1, 40).Draw(t, "closed")
			end := min(length, at+rapid.IntRange(1, 40).Draw(t, "open"))
			for i := at; i < end; i++ {
				open[i] = true
			}
			if at < end {
				spans = append(spans, span{minute(at), minute(end)})
			}
			at = end
		}
		w := newWindows(spans)
		start := rapid.IntRange(0, length-1).Draw(t, "start")
		work := rapid.IntRange(1, 200).Draw(t, "work")
		left, want := work, -1
		for i := start; i < length && want < 0; i++ {
			if open[i] {
				if left--; left == 0 {
					want = i + 1
				}
			}
		}
		got, ok := w.finish(minute(start), time.Duration(work)*time.Minute)
		if ok != (want >= 0) || ok && got != minute(want) {
			t.Fatalf("%d min from %d: got %v %v, want minute %d", work, start, got, ok, want)
		}
	})
}

func minute(i int) instant { return instant(0).add(time.Duration(i) * time.Minute) }

func TestIntersectAndSubtract(t *testing.T) {
	a := merge([]span{{0, 10}, {20, 30}, {25, 40}, {50, 50}})
	if len(a) != 2 || a[1] != (span{20, 40}) {
		t.Fatalf("merged to %v", a)
	}
	if got := intersect(newWindows(a), newWindows([]span{{5, 22}, {39, 60}})).spans; len(got) != 3 || got[1] != (span{20, 22}) || got[2] != (span{39, 40}) {
		t.Errorf("intersected to %v", got)
	}
	if got := subtract(a, []span{{2, 4}, {8, 21}, {35, 60}}); len(got) != 3 || got[0] != (span{0, 2}) || got[1] != (span{4, 8}) || got[2] != (span{21, 35}) {
		t.Errorf("subtracted to %v", got)
	}
}

// TestShiftsOverAClockChange: in Europe clocks went forward at 02:00 on 29 March
// 2026 (EU directive 2000/84/EC: last Sunday of March), so a shift from one to five
// is three hours long. The zone comes from Go's embedded copy of the IANA tables.
func TestShiftsOverAClockChange(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Vienna")
	if err != nil {
		t.Skip("no time zone tables on this machine")
	}
	c := Calendar{Shifts: []Shift{{Weekday: time.Sunday, From: 60, To: 300}}}
	day := time.Date(2026, 3, 29, 0, 0, 0, 0, zone)
	spans := c.open(span{at(day), at(day.AddDate(0, 0, 8))}, zone).spans
	if len(spans) != 2 {
		t.Fatalf("got %d shifts", len(spans))
	}
	if got := spans[0].end.sub(spans[0].start); got != 3*time.Hour {
		t.Errorf("the night of the change works %v, want 3h", got)
	}
	if got := spans[1].end.sub(spans[1].start); got != 4*time.Hour {
		t.Errorf("the next Sunday works %v, want 4h", got)
	}
}
