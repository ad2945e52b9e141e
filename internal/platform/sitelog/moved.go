package sitelog

import "sync/atomic"

// hearer is told of sites whose state has moved on; nil: nobody is.
type hearer = atomic.Pointer[func(site string)]

// OnMove has a function told of every site whose state has moved on by a commit of this
// runner, or has become this runner's to care for (see Options.Active), and of those
// that are so already. It is told on the writer's goroutine and must not block. What
// it does with that is its own: it stands beside the writer, and what it finds comes
// back as a command like any other.
func (r *Runner[S]) OnMove(fn func(site string)) {
	r.moved.Store(&fn)
	for _, w := range r.all() {
		if w.gauges.active.Load() {
			fn(w.subject.Site)
		}
	}
}

// Active tells whether a site's reactions, timers and snapshots are this runner's now.
func (r *Runner[S]) Active(site string) bool {
	r.mu.RLock()
	defer r.mu.RUnlock()
	w := r.writers[site]
	return w != nil && w.gauges.active.Load()
}

// tellMoved tells whoever listens, if this is the writer at work.
func (w *writer[S]) tellMoved() {
	if fn := w.moved.Load(); fn != nil && w.active {
		(*fn)(w.subject.Site)
	}
}
