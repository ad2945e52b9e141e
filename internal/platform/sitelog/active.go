package sitelog

// A writer that is not active answers calls and does nothing by itself: no
// reactions, no timers, no snapshots. Another replica does them. Both may be
// active for a while, or neither: the log lets one of two commits in, and what
// nobody did is done by the next one that becomes active.

// Wake makes every writer ask Options.Active again, and look whether another
// replica has written meanwhile: a timer that was set there is its to fire.
func (r *Runner[S]) Wake() {
	r.mu.RLock()
	defer r.mu.RUnlock()
	for _, w := range r.writers {
		select {
		case w.wake <- struct{}{}:
		default: // it is about to ask already
		}
	}
}

// rouse asks whether this writer is to be active from now on.
func (w *writer[S]) rouse() {
	was := w.active
	w.active = w.shouldBeActive()
	switch {
	case was && !w.active:
		w.foreign.cancel()
		w.behind = false
		w.gauges.active.Store(false)
	case !was && w.active:
		// Another replica has written meanwhile. Reactions to what it has long
		// handled would be decided in vain.
		w.behind = true
		w.gauges.active.Store(true)
		w.tellMoved()
	case w.active && w.accepts():
		w.decide(w.lookout())
	}
}

// lookout is a task that nobody waits for. Like any reader it is answered after a
// look at the tail, and a tail that is not ours makes the writer catch up.
func (w *writer[S]) lookout() *task[S] {
	return &task[S]{
		decide: func(*writer[S], Input) (draft, error) { return draft{}, nil },
		done:   make(chan answer, 1),
	}
}

func (w *writer[S]) shouldBeActive() bool {
	return w.o.Active == nil || w.o.Active(w.subject.Site)
}

// mustReload tells that nothing may be decided on the present state.
func (w *writer[S]) mustReload() bool { return w.spoiled || w.behind }
