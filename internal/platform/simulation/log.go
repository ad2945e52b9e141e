package simulation

import (
	"context"
	"errors"
	"sync"

	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/memory"
)

// gated is the log as replicas see it: every operation waits at the gate, and
// followers are given one record at a time.
type gated struct {
	*memory.Log
	gate   *gate
	ghosts *ghosts
}

// Append implements sitelog.Log. What its sender gives up may still arrive.
func (l gated) Append(ctx context.Context, s sitelog.Subject, expected uint64, m sitelog.Message) (uint64, error) {
	sequence, err := l.Log.Append(ctx, s, expected, m)
	if err != nil && (ctx.Err() != nil || errors.Is(err, sitelog.ErrUnknownOutcome)) {
		l.ghosts.add(ghost{subject: s, expected: expected, message: m})
	}
	return sequence, err
}

// Follow implements sitelog.Log.
func (l gated) Follow(ctx context.Context, s sitelog.Subject, after uint64, fn func(sitelog.Record) error) error {
	return l.Log.Follow(ctx, s, after, func(r sitelog.Record) error {
		if effect := l.gate.hold(ctx, memory.Follow, s); effect.Err != nil {
			return effect.Err
		}
		return fn(r)
	})
}

// ghost is an append that nobody waits for any more.
type ghost struct {
	subject  sitelog.Subject
	expected uint64
	message  sitelog.Message
}

type ghosts struct {
	mu   sync.Mutex
	list []ghost
}

func (g *ghosts) add(one ghost) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.list = append(g.list, one)
}

// take gives the oldest ghost, if there is one.
func (g *ghosts) take() (ghost, bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if len(g.list) == 0 {
		return ghost{}, false
	}
	first := g.list[0]
	g.list = g.list[1:]
	return first, true
}
