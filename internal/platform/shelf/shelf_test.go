package shelf

import (
	"reflect"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

var noon = time.Date(2026, time.March, 2, 12, 0, 0, 0, time.UTC)

// A shelf does what two plain maps do, and a snapshot of it is the same shelf.
func TestAShelfIsTwoMaps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s, resting, filed := Shelf{}, map[uint64]time.Time{}, map[uint64]uint64{}
		for range rapid.IntRange(1, 60).Draw(t, "steps") {
			number := rapid.Uint64Range(1, 3*pageSize).Draw(t, "number")
			at := noon.Add(time.Duration(rapid.IntRange(0, 50).Draw(t, "hours")) * time.Hour)
			switch rapid.IntRange(0, 3).Draw(t, "what") {
			case 0:
				if filed[number] == 0 {
					s.Settle(number, at)
					resting[number] = at
				}
			case 1:
				s.Stay(number)
				delete(resting, number)
			case 2:
				commit := rapid.Uint64Range(1, 1<<31).Draw(t, "commit")
				s.File(number, commit, time.Time{})
				delete(resting, number)
				filed[number] = commit
			case 3:
				s.Recall(number, at)
				delete(filed, number)
				resting[number] = at
			}
			check(t, &s, resting, filed)
		}
		again := s.Keep().Shelf()
		check(t, &again, resting, filed)
	})
}

func check(t *rapid.T, s *Shelf, resting map[uint64]time.Time, filed map[uint64]uint64) {
	if f, r := s.Len(); f != len(filed) || r != len(resting) {
		t.Fatalf("%d filed and %d resting, not %d and %d", f, r, len(filed), len(resting))
	}
	for number, commit := range filed {
		if f := s.Find(number, "jobs/1"); f == nil || f.Commit != commit || f.Name != "jobs/1" {
			t.Fatalf("%d is archived in commit %d, not %v", number, commit, f)
		}
	}
	var numbers []uint64
	for number := range filed {
		numbers = append(numbers, number)
	}
	slices.Sort(numbers)
	if got := s.All(); len(got) != len(numbers) || len(got) > 0 && !reflect.DeepEqual(got, numbers) {
		t.Fatalf("archived are %v, not %v", got, numbers)
	}
	var first time.Time
	for _, at := range resting {
		if first.IsZero() || at.Before(first) {
			first = at
		}
	}
	due, pending := s.Due()
	if pending != (len(resting) > 0) || pending && !due.Equal(first.Add(Rest)) {
		t.Fatalf("due is %v %t, and the first rests since %v", due, pending, first)
	}
	if pending {
		ripe := s.Ripe(due)
		if len(ripe) == 0 || !resting[ripe[0]].Equal(first) || len(s.Ripe(due.Add(-1))) > 0 {
			t.Fatalf("ripe at %v are %v", due, ripe)
		}
	}
}
