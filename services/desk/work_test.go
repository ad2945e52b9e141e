package desk

import "testing"

// A page shows the first of a long list and says how many are left, whatever their number.
func TestLongListsAreShortened(t *testing.T) {
	for length, want := range map[int][2]int{0: {0, 0}, 1: {1, 0}, mostRows: {mostRows, 0}, mostRows + 1: {mostRows, 1}, 500: {mostRows, 500 - mostRows}} {
		if shown, more := shorten(make([]int, length)); len(shown) != want[0] || more != want[1] {
			t.Errorf("of %d, %d are shown and %d are more, want %v", length, len(shown), more, want)
		}
	}
}
