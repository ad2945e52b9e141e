package teardown_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"ramprow/internal/engine/teardown"
	"ramprow/internal/engine/teardown/effort"
)

// tenParts is the ten-part product of McGovern & Gupta (2004) as printed in Ren, Zhang, Zhao, Xiao &
// Tian, EJOR 269 (2018) 647-660: times in seconds; 8 before 4 and 7, 7 before 5 and 6, and any of
// 2, 3 before each of 1, 8, 9, 10.
func tenParts() teardown.Model {
	times := []float64{14, 10, 12, 18, 23, 16, 20, 36, 14, 10}
	before := map[int][]int{4: {8}, 7: {8}, 5: {7}, 6: {7}, 1: {2, 3}, 8: {2, 3}, 9: {2, 3}, 10: {2, 3}}
	var m teardown.Model
	for i, t := range times {
		p := teardown.Piece{ID: part(i + 1), Title: "Part " + part(i+1)}
		if any := before[i+1]; any != nil {
			p.BlockedBy = []teardown.Blocking{{AnyOf: parts(any)}}
		}
		m.Pieces = append(m.Pieces, p)
		m.Operations = append(m.Operations, teardown.Operation{
			ID: "off-" + p.ID, Title: "Take off " + p.Title, TakesOff: []string{p.ID}, Effort: effort.Exactly(t),
		})
	}
	return m
}

func part(n int) string { return fmt.Sprint(n) }

func parts(list []int) []string {
	out := make([]string, len(list))
	for i, n := range list {
		out[i] = part(n)
	}
	return out
}

// Expected values were recomputed over all subsets; they are not printed in the article.
func TestTenPartsSelective(t *testing.T) {
	tests := []struct {
		targets []int
		cost    float64
		set     []int
	}{
		{[]int{1}, 24, []int{1, 2}},
		{[]int{2}, 10, []int{2}},
		{[]int{3}, 12, []int{3}},
		{[]int{4}, 64, []int{2, 4, 8}},
		{[]int{5}, 89, []int{2, 5, 7, 8}},
		{[]int{6}, 82, []int{2, 6, 7, 8}},
		{[]int{7}, 66, []int{2, 7, 8}},
		{[]int{8}, 46, []int{2, 8}},
		{[]int{9}, 24, []int{2, 9}},
		{[]int{10}, 20, []int{2, 10}},
		{[]int{3, 9}, 26, []int{3, 9}}, // a fixed cheapest alternative would take 2 as well: 36
		{[]int{1, 3}, 26, []int{1, 3}},
		{[]int{3, 5}, 91, []int{3, 5, 7, 8}},
		{[]int{4, 6}, 100, []int{2, 4, 6, 7, 8}},
		{[]int{1, 9, 10}, 48, []int{1, 2, 9, 10}},
		{[]int{1, 2, 3, 4, 5, 6, 7, 8, 9, 10}, 173, []int{1, 2, 3, 4, 5, 6, 7, 8, 9, 10}}, // printed
	}
	engine := must(teardown.New(tenParts()))
	for _, tt := range tests {
		t.Run(fmt.Sprint(tt.targets), func(t *testing.T) {
			plan, err := engine.Plan(teardown.CarState{}, []teardown.Task{look(parts(tt.targets)...)}, teardown.Options{})
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(plan.Cost-tt.cost) > 1e-9 || !plan.Proved || plan.Bound != plan.Cost {
				t.Errorf("cost %v, bound %v, proved %v; want %v", plan.Cost, plan.Bound, plan.Proved, tt.cost)
			}
			var got, want []string
			for _, n := range tt.set {
				want = append(want, "off-"+part(n))
			}
			got = append(got, plan.Chosen...)
			slices.Sort(got)
			slices.Sort(want)
			if !slices.Equal(got, want) {
				t.Errorf("chose %v, want %v", got, want)
			}
		})
	}
}

// look is an inspection without effort of pieces that are taken off.
func look(pieces ...string) teardown.Task {
	return teardown.Task{ID: "look", Title: "Look", Kind: teardown.Inspection, MustBeOff: pieces}
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}
