package planner

import (
	"math"
	"slices"
	"time"
)

const (
	// Promised is the share of promises that are meant to hold.
	Promised = 0.8
	// Remembered is from how many promises a margin is learned at most: the newest. With
	// more it would follow a workshop that changes too slowly.
	Remembered = 100
	// FewestRemembered is from how many a margin is learned at least. From fewer, one
	// odd car alone would decide.
	FewestRemembered = 10
)

// Turned is how a promise turned out whose foreseen time has come.
type Turned struct {
	// Late is the open time from what was foreseen to the end; negative: it was done sooner.
	Late time.Duration
	// Open tells that it is not done: nobody knows yet how late it will be.
	Open bool
}

// Margin is what a promise needs beyond what is foreseen, so that it holds as often as
// it is meant to.
type Margin struct {
	// Add is open time to add; negative: promises were too careful.
	Add time.Duration
	// Of is from how many promises it was learned; zero: there were too few, and nothing is added.
	Of int
}

// MarginOf learns from how promises turned out. What a run of the plan cannot know is in
// it all the same: cars that come late, what is found on the way, illness, late parts.
//
// Of n promises it takes the one whose rank is share times n+1, rounded up. If the next
// job is of the same kind as those, in the sense that any order of them is as likely,
// its promise holds with at least that probability, and with at most 1/(n+1) more
// (split conformal prediction: Vovk, Gammerman and Shafer 2005; Lei, G'Sell, Rinaldo,
// Tibshirani and Wasserman 2018, theorem 2; about a foreseen quantile: Romano, Patterson
// and Candès 2019). A workshop changes, so this is an aim there and no proof.
//
// Who calls gives every promise whose foreseen time has come, done or not: those that
// are done alone would be the quick ones. What is still open counts as later than all
// that is done.
func MarginOf(past []Turned, share float64) Margin {
	n := len(past)
	rank := int(math.Ceil(share*float64(n+1) - 1e-9)) // 0.8 times 5 is 4
	if n < FewestRemembered || rank > n {
		return Margin{}
	}
	var late []time.Duration
	for _, t := range past {
		if !t.Open {
			late = append(late, t.Late)
		}
	}
	if len(late) == 0 {
		return Margin{}
	}
	slices.Sort(late)
	return Margin{Add: late[min(rank, len(late))-1], Of: n}
}
