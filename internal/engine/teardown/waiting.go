package teardown

// waiting counts, for chosen operations, the groups that are not satisfied yet, so that each
// opening tells in passing which operations become ready.
type waiting struct {
	count map[int]int
	// watchers lists, by piece, operations with a group that the piece may satisfy.
	watchers map[int][]watcher
	settled  map[watcher]bool
	ready    []int
}

type watcher struct {
	operation int
	group     int
}

func newWaiting(e *Engine, now *standing, chosen []int) waiting {
	w := waiting{count: map[int]int{}, watchers: map[int][]watcher{}, settled: map[watcher]bool{}}
	for _, o := range chosen {
		for g, group := range e.groups[o] {
			if now.satisfies(group) {
				continue
			}
			w.count[o]++
			for _, p := range group.pieces {
				w.watchers[p] = append(w.watchers[p], watcher{o, g})
			}
		}
		if w.count[o] == 0 {
			w.ready = append(w.ready, o)
		}
	}
	return w
}

// opened lists the operations that become ready by what the given one has just opened.
func (w *waiting) opened(e *Engine, now *standing, operation int) []int {
	var ready []int
	m := e.model.Operations[operation]
	for _, list := range [2][]string{m.TakesOff, m.Reaches} {
		for _, id := range list {
			for _, x := range w.watchers[e.pieces[id]] {
				if w.settled[x] || !now.satisfies(e.groups[x.operation][x.group]) {
					continue
				}
				w.settled[x] = true
				if w.count[x.operation]--; w.count[x.operation] == 0 {
					ready = append(ready, x.operation)
				}
			}
		}
	}
	return ready
}
