package teardown

import "slices"

// item is one entry of the script before states are put between: an operation opened or closed, or
// a task.
type item struct {
	job
	refit bool
}

// script writes down every step. Opening is in the given order; closing is its exact reverse, so
// that each operation is undone with the car just as it was when it was done. Operations that were
// done before come last, in reverse as well.
func (e *Engine) script(start *standing, jobs []job, tasks []Task) []Step {
	var items []item
	var closing []item
	for _, o := range start.done {
		closing = append(closing, item{job{o, -1}, true})
	}
	for _, j := range jobs {
		items = append(items, item{j, false})
		if j.operation >= 0 {
			closing = append(closing, item{j, true})
		}
	}
	slices.Reverse(closing)
	items = append(items, closing...)
	s := &scripting{engine: e, tasks: tasks, held: newHolding(e, start.states), links: newLinks(e, start)}
	s.steps = make([]Step, 0, len(items)+8)
	s.write(items)
	return s.steps
}

// scripting walks over the items and enters each state just before it is first needed, and leaves
// it when something forbids it or nothing needs it any more.
type scripting struct {
	engine *Engine
	tasks  []Task
	held   *holding
	steps  []Step
	links  *links
}

func (s *scripting) write(items []item) {
	lastNeed := map[int]int{}
	for k, it := range items {
		for _, state := range s.engine.jobNeeds(s.tasks, it.job) {
			lastNeed[state] = k
		}
	}
	var phase Phase
	for k, it := range items {
		phase = s.phase(it)
		for _, state := range s.engine.jobForbids(s.tasks, it.job) {
			s.leave(state, phase, s.title(it.job)+" forbids it")
		}
		for _, state := range s.engine.jobNeeds(s.tasks, it.job) {
			s.enter(state, phase, s.title(it.job)+" needs it")
		}
		if it.refit {
			s.clear(it.operation, lastNeed)
		}
		s.step(it, phase)
		for _, state := range slices.Backward(slices.Clone(s.held.states)) {
			if last, needed := lastNeed[state]; needed && last <= k {
				s.leave(state, phase, "nothing needs it any more")
			}
		}
	}
	for _, state := range slices.Backward(slices.Clone(s.held.states)) {
		s.leave(state, PhaseClose, "the work is done")
	}
	s.links.settle(s.steps)
}

// clear leaves states that were held from the start, that nothing needs, and that would be in the way
// of a piece going back.
func (s *scripting) clear(operation int, lastNeed map[int]int) {
	o := s.engine.model.Operations[operation]
	for _, state := range slices.Backward(slices.Clone(s.held.states)) {
		m := s.engine.model.States[state]
		if _, needed := lastNeed[state]; !needed && slices.ContainsFunc(m.NeedsOff, func(id string) bool {
			return slices.Contains(o.TakesOff, id)
		}) {
			s.leave(state, PhaseClose, o.Title+" goes back")
		}
	}
}

func (s *scripting) phase(it item) Phase {
	switch {
	case it.refit:
		return PhaseClose
	case it.operation >= 0:
		return PhaseOpen
	case s.tasks[it.task].Kind == Repair:
		return PhaseRepair
	default:
		return PhaseInspect
	}
}

func (s *scripting) title(j job) string {
	if j.task >= 0 {
		return s.tasks[j.task].Title
	}
	return s.engine.model.Operations[j.operation].Title
}

func (s *scripting) enter(state int, phase Phase, reason string) {
	if s.held.has(state) {
		return
	}
	s.held.enter(state)
	m := s.engine.model.States[state]
	s.links.enter(len(s.steps), state)
	s.steps = append(s.steps, Step{
		Kind: StepEnterState, Phase: phase, ID: m.ID, Title: m.Title, Reason: reason, Effort: m.Enter,
		Resources: m.Resources, ToolsOn: m.ToolsLeftOn, NeedsStates: m.NeedsStates,
	})
}

func (s *scripting) leave(state int, phase Phase, reason string) {
	for _, left := range s.held.leave(state) {
		m := s.engine.model.States[left]
		s.links.leave(len(s.steps), left)
		s.steps = append(s.steps, Step{
			Kind: StepLeaveState, Phase: phase, ID: m.ID, Title: m.Title, Reason: reason, Effort: m.Leave,
			Resources: m.Resources, ToolsOff: m.ToolsLeftOn,
		})
	}
}

func (s *scripting) step(it item, phase Phase) {
	at := len(s.steps)
	needs, forbids := s.engine.jobNeeds(s.tasks, it.job), s.engine.jobForbids(s.tasks, it.job)
	switch {
	case it.task >= 0:
		s.steps = append(s.steps, taskStep(s.tasks[it.task], phase))
		s.links.task(at, s.tasks[it.task])
	case it.refit:
		s.steps = append(s.steps, s.engine.refitStep(it.operation))
		s.links.refit(at, it.operation)
	default:
		s.steps = append(s.steps, openStep(s.engine.model.Operations[it.operation]))
		s.links.open(at, it.operation)
	}
	s.links.states(at, needs, forbids)
}

func taskStep(t Task, phase Phase) Step {
	return Step{
		Kind: StepTask, Phase: phase, ID: t.ID, Title: t.Title, Reason: "this is what the car is opened for",
		Effort: t.Effort, Resources: t.Resources, Renews: t.Parts, NeedsStates: t.NeedsStates,
	}
}

func openStep(o Operation) Step {
	return Step{
		Kind: StepOpen, Phase: PhaseOpen, ID: o.ID, Title: o.Title, Effort: o.Effort, Resources: o.Resources,
		TakesOff: o.TakesOff, Reaches: o.Reaches, NeedsStates: o.NeedsStates, Risk: o.Risk,
	}
}

func (e *Engine) refitStep(operation int) Step {
	o := e.model.Operations[operation]
	uses := slices.Clone(o.Renews)
	for _, id := range o.TakesOff {
		if p := e.model.Pieces[e.pieces[id]]; p.Fate == Renew {
			uses = append(uses, p.RenewedBy...)
		}
	}
	return Step{
		Kind: StepRefit, Phase: PhaseClose, ID: o.ID, Title: o.Title, Reason: "goes back in the reverse order of opening",
		Effort: o.Refit, Resources: o.Resources, TakesOff: o.TakesOff, Reaches: o.Reaches, Joints: o.Joints,
		Renews: Sum(uses), NeedsStates: o.NeedsStates,
	}
}

// Sum adds up equal parts, in the order in which they first occur.
func Sum(uses []PartUse) []PartUse {
	var out []PartUse
	at := map[string]int{}
	for _, u := range uses {
		i, known := at[u.Part]
		if !known {
			i = len(out)
			at[u.Part] = i
			out = append(out, PartUse{Part: u.Part})
		}
		out[i].Quantity += u.Quantity
	}
	return out
}
