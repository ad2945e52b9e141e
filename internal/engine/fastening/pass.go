package fastening

import "time"

// pass is one way over the fasteners of a stage. All stages, their repetitions
// and what is implied between them become one list of passes.
type pass struct {
	stage  int // index into the joint's stages
	number int // of the pass within its stage, from 1
	order  []int
	// settle: it goes round until every fastener was found at rest.
	settle bool
	// release: the torque is lower than before, so the fastener is let go first.
	release bool
	// wait must pass between the last reading before it and its first.
	wait time.Duration
}

// plan lays out the passes of a joint; the rest is what to wait at the end.
func (j Joint) plan() (passes []pass, rest time.Duration) {
	var wait time.Duration
	for i, s := range j.Stages {
		switch {
		case !s.appliesTo(j.Parts):
			continue
		case s.Kind == Wait:
			wait += s.Wait
			continue
		}
		stage := j.passesOf(i, s)
		stage[0].wait, wait = wait, 0
		stage[0].release = j.lowers(i)
		passes = append(passes, stage...)
	}
	return passes, wait
}

func (j Joint) passesOf(i int, s Stage) []pass {
	order := keep(j.Order, s.concerns)
	var passes []pass
	for n := 1; n <= s.Passes; n++ {
		passes = append(passes, pass{stage: i, number: n, order: order, settle: s.Kind == Check})
	}
	if s.Kind != Torque {
		return passes
	}
	settling := keep(order, func(f int) bool { return s.Verify || j.SoftGasket && j.lastClick(f) == i })
	if len(settling) > 0 {
		passes = append(passes, pass{stage: i, number: s.Passes + 1, order: settling, settle: true})
	}
	return passes
}

// lastClick is the last stage at which a click tells whether the fastener
// moves: on a soft gasket the rounds belong there. A check settles by itself.
func (j Joint) lastClick(fastener int) int {
	last := -1
	for i, s := range j.Stages {
		if (s.Kind == Torque || s.Kind == Check) && s.appliesTo(j.Parts) && s.concerns(fastener) {
			last = i
		}
	}
	return last
}

// lowers tells whether a torque stage lies wholly below what all its fasteners
// already hold: the click would come at once and prove nothing.
func (j Joint) lowers(stage int) bool {
	s := j.Stages[stage]
	if s.Kind != Torque {
		return false
	}
	for _, f := range j.Order {
		if s.concerns(f) && s.Torque.High() < j.held(stage, f) {
			return true
		}
	}
	return false
}

// held is the torque that a fastener holds before a stage.
func (j Joint) held(stage, fastener int) float64 {
	held := 0.0
	for _, s := range j.Stages[:stage] {
		if !s.appliesTo(j.Parts) || !s.concerns(fastener) {
			continue
		}
		switch s.Kind {
		case Torque, Check:
			held = s.Torque.Low()
		case Angle:
			held = max(held, s.TorqueFloor)
		case BackOff:
			held = 0
		case Wait:
		}
	}
	return held
}

func keep(order []int, which func(int) bool) []int {
	var kept []int
	for _, f := range order {
		if which(f) {
			kept = append(kept, f)
		}
	}
	return kept
}
