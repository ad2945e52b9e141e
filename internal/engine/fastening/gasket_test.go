package fastening

import (
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// gasket is a plain model of bolts on something soft: turning one takes the
// clamping of the bolts beside it, until it has given way often enough.
type gasket struct {
	tight []bool // by bolt, from 1
	give  []int  // times that turning a bolt still loosens its neighbours
	near  func(int) []int
}

// click pulls at one bolt and tells whether it moved.
func (g *gasket) click(f int) bool {
	if g.tight[f] {
		return false
	}
	g.tight[f] = true
	if g.give[f] > 0 {
		g.give[f]--
		for _, n := range g.near(f) {
			g.tight[n] = false
		}
	}
	return true
}

// TestRoundsLeaveNoLooseBolt: following what the track asks for, the joint is
// proved only when every bolt of the model is tight, and in the end it is. The
// model knows the layout for itself.
func TestRoundsLeaveNoLooseBolt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 20).Draw(t, "bolts")
		circle := rapid.Bool().Draw(t, "circle")
		order := fromMiddle(n)
		if circle {
			order = cross(n)
		}
		g := &gasket{
			tight: make([]bool, n+1), give: append([]int{0}, rapid.SliceOfN(rapid.IntRange(0, 4), n, n).Draw(t, "give")...),
			near: func(f int) []int {
				beside := []int{f - 1, f + 1}
				if circle {
					beside = []int{(f+n-2)%n + 1, f%n + 1}
				}
				return slices.DeleteFunc(beside, func(b int) bool { return b < 1 || b > n || b == f })
			},
		}
		track, err := Begin(Joint{Fasteners: n, Order: order, SoftGasket: true, Stages: []Stage{torque(8)}})
		if err != nil {
			t.Fatal(err)
		}
		readings := 0
		for ; !track.Proved(noon); readings++ {
			if readings > 40*n {
				t.Fatalf("not proved after %d readings", readings)
			}
			turn, _ := track.Next()
			r := Reading{Fastener: turn.Fastener, Stage: 1, TorqueNM: 8, Moved: g.click(turn.Fastener), At: noon}
			j, err := track.Judge(r, wrench())
			if err != nil || !j.Counts {
				t.Fatalf("%+v does not count: %s (%v)", r, j.Reason, err)
			}
			r.Verdict, r.Counts = j.Verdict, j.Counts
			track.Apply(r)
		}
		if loose := slices.Index(g.tight[1:], false); loose >= 0 {
			t.Fatalf("proved, but bolt %d is loose", loose+1)
		}
		if moved := track.MovedByRound(); moved[len(moved)-1] != 0 {
			t.Fatalf("the last round still moved: %v", moved)
		}
	})
}
