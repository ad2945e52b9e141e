package simulation

import (
	"cmp"
	"context"
	"slices"
	"strings"
	"sync"

	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/memory"
)

// origin says in a context on whose behalf a log is used.
type origin struct {
	replica string
	call    int // 0: the replica's own writer or follower
}

type originKey struct{}

func withOrigin(ctx context.Context, o origin) context.Context {
	return context.WithValue(ctx, originKey{}, o)
}

// waiting is one operation at the gate.
type waiting struct {
	origin
	operation memory.Operation
	subject   sitelog.Subject
	effect    chan memory.Effect
}

// gate holds every operation on the log until the world lets it go.
type gate struct {
	mu      sync.Mutex
	waiting []*waiting
}

// ask is the log's hook. What comes from nobody in the world, and what only
// looks around, passes.
func (g *gate) ask(ctx context.Context, op memory.Operation, s sitelog.Subject) memory.Effect {
	if op == memory.Follow || op == memory.Sites {
		return memory.Effect{}
	}
	return g.hold(ctx, op, s)
}

func (g *gate) hold(ctx context.Context, op memory.Operation, s sitelog.Subject) memory.Effect {
	from, inWorld := ctx.Value(originKey{}).(origin)
	if !inWorld {
		return memory.Effect{}
	}
	w := &waiting{origin: from, operation: op, subject: s, effect: make(chan memory.Effect, 1)}
	g.mu.Lock()
	g.waiting = append(g.waiting, w)
	g.mu.Unlock()
	select {
	case effect := <-w.effect:
		return effect
	case <-ctx.Done():
		g.remove(w)
		return memory.Effect{Err: ctx.Err()}
	}
}

func (g *gate) remove(w *waiting) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.waiting = slices.DeleteFunc(g.waiting, func(other *waiting) bool { return other == w })
}

// list gives who waits, in an order that does not depend on who came first.
func (g *gate) list() []*waiting {
	g.mu.Lock()
	defer g.mu.Unlock()
	list := slices.Clone(g.waiting)
	slices.SortStableFunc(list, func(a, b *waiting) int {
		return cmp.Or(
			strings.Compare(a.replica, b.replica),
			cmp.Compare(a.call, b.call),
			cmp.Compare(a.operation, b.operation),
			strings.Compare(a.subject.Service, b.subject.Service),
		)
	})
	return list
}

func (g *gate) release(w *waiting, effect memory.Effect) {
	g.remove(w)
	w.effect <- effect
}
