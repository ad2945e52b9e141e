package teardown

import (
	"fmt"
	"slices"
)

// links finds, while the script is written, which earlier steps a step rests upon, and why each
// opening is there.
type links struct {
	engine *Engine
	now    *standing
	// offBy and reachedBy tell which step opened a piece; -1 for open from the start or closed.
	offBy     []int
	reachedBy []int
	// openedBy is the step that did an operation; users are the steps that rest upon an opening
	// step, which must be undone before it is closed.
	openedBy map[int]int
	users    map[int][]int
	refitOf  map[int]int
	// entered and left are the latest steps that changed a state; users of a state since then.
	entered, left map[int]int
	stateUsers    map[int][]int
	forbidders    map[int][]int
	reasons       map[int]string
	after         map[int][]int
	// lastOldRefit closed what was open from the start.
	lastOldRefit int
}

func newLinks(e *Engine, start *standing) *links {
	l := &links{
		engine: e, openedBy: map[int]int{}, users: map[int][]int{}, refitOf: map[int]int{},
		entered: map[int]int{}, left: map[int]int{}, stateUsers: map[int][]int{}, forbidders: map[int][]int{},
		reasons: map[int]string{}, after: map[int][]int{},
		now: &standing{off: slices.Clone(start.off), reached: slices.Clone(start.reached)},
	}
	l.offBy = slices.Repeat([]int{-1}, len(e.model.Pieces))
	l.reachedBy = slices.Repeat([]int{-1}, len(e.model.Pieces))
	return l
}

// rest notes that a step rests upon an earlier one; -1 is the car as it stood.
func (l *links) rest(step, upon int) {
	if upon >= 0 && upon != step {
		l.after[step] = append(l.after[step], upon)
	}
}

// use notes that a step rests upon an opening, and explains the opening if nothing did before.
func (l *links) use(step, opening int, reason string) {
	if opening < 0 {
		return
	}
	l.rest(step, opening)
	l.users[opening] = append(l.users[opening], step)
	if _, given := l.reasons[opening]; !given {
		l.reasons[opening] = reason
	}
}

func (l *links) open(step, operation int) {
	o := l.engine.model.Operations[operation]
	for _, g := range l.engine.groups[operation] {
		l.use(step, l.provider(g), l.reason(o, g))
	}
	l.now.open(l.engine, operation)
	for _, id := range o.TakesOff {
		l.claim(l.offBy, id, step)
		l.claim(l.reachedBy, id, step)
	}
	for _, id := range o.Reaches {
		l.claim(l.reachedBy, id, step)
	}
	l.openedBy[operation] = step
}

func (l *links) claim(by []int, piece string, step int) {
	if p := l.engine.pieces[piece]; by[p] < 0 {
		by[p] = step
	}
}

// provider is the earliest step that satisfied the group, or -1 if it was so from the start.
func (l *links) provider(g group) int {
	best := -1
	for _, p := range g.pieces {
		by := -2
		switch {
		case l.now.off[p]:
			by = l.offBy[p]
		case g.reached && l.now.reached[p]:
			by = l.reachedBy[p]
		}
		if by == -1 {
			return -1
		}
		if by >= 0 && (best < 0 || by < best) {
			best = by
		}
	}
	return best
}

func (l *links) reason(o Operation, g group) string {
	if g.of < 0 {
		return fmt.Sprintf("'%s' is done this way only with it open", o.Title)
	}
	piece := l.engine.model.Pieces[g.of].Title
	if g.breaks {
		return fmt.Sprintf("must be off before %s comes off, or it breaks", piece)
	}
	return fmt.Sprintf("is in the way of %s", piece)
}

func (l *links) task(step int, t Task) {
	for _, id := range t.MustBeOff {
		p := l.engine.pieces[id]
		l.use(step, l.offBy[p], fmt.Sprintf("takes off %s for '%s'", l.engine.model.Pieces[p].Title, t.Title))
	}
	for _, id := range t.Targets {
		p := l.engine.pieces[id]
		l.use(step, l.reachedBy[p], fmt.Sprintf("to reach %s for '%s'", l.engine.model.Pieces[p].Title, t.Title))
	}
}

// refit rests upon everything that used the opening: tasks are done and later openings are closed.
// What was open from the start is closed last of all, one step after the other.
func (l *links) refit(step, operation int) {
	opening, now := l.openedBy[operation]
	if !now {
		for at := max(0, l.lastOldRefit); at < step; at++ {
			l.rest(step, at)
		}
		l.lastOldRefit = step
		return
	}
	l.rest(step, opening)
	for _, user := range l.users[opening] {
		l.rest(step, user)
		if closed, yes := l.refitOf[user]; yes {
			l.rest(step, closed)
		}
	}
	l.refitOf[opening] = step
}

func (l *links) enter(step, state int) {
	for _, id := range l.engine.model.States[state].NeedsStates {
		l.restOnState(step, l.engine.states[id])
	}
	for _, id := range l.engine.model.States[state].NeedsOff {
		p := l.engine.pieces[id]
		l.use(step, l.offBy[p], fmt.Sprintf("'%s' needs %s off", l.engine.model.States[state].Title, l.engine.model.Pieces[p].Title))
	}
	if at, was := l.left[state]; was {
		l.rest(step, at)
	}
	for _, at := range l.forbidders[state] {
		l.rest(step, at)
	}
	l.entered[state] = step
	l.stateUsers[state], l.forbidders[state] = nil, nil
}

func (l *links) restOnState(step, state int) {
	if at, was := l.entered[state]; was {
		l.rest(step, at)
	}
	l.stateUsers[state] = append(l.stateUsers[state], step)
}

func (l *links) leave(step, state int) {
	if at, was := l.entered[state]; was {
		l.rest(step, at)
	}
	for _, user := range l.stateUsers[state] {
		l.rest(step, user)
	}
	for _, id := range l.engine.model.States[state].NeedsStates {
		required := l.engine.states[id]
		l.stateUsers[required] = append(l.stateUsers[required], step)
	}
	for _, id := range l.engine.model.States[state].NeedsOff {
		l.use(step, l.offBy[l.engine.pieces[id]], "") // what it needs off stays off until it is left
	}
	l.left[state] = step
}

func (l *links) states(step int, needs, forbids []int) {
	for _, s := range needs {
		l.restOnState(step, s)
	}
	for _, s := range forbids {
		if at, was := l.left[s]; was {
			l.rest(step, at)
		}
		l.forbidders[s] = append(l.forbidders[s], step)
	}
}

// settle writes what was found into the steps.
func (l *links) settle(steps []Step) {
	for at := range steps {
		slices.Sort(l.after[at])
		steps[at].After = slices.Compact(l.after[at])
		if steps[at].Kind != StepOpen {
			continue
		}
		steps[at].Reason = "this way was chosen" // nothing else rests upon it
		if reason, given := l.reasons[at]; given {
			steps[at].Reason = reason
		}
	}
}
