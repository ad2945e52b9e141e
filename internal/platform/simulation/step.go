package simulation

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing/synctest"
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/sitelog/memory"
)

// action is one kind of step and how often it is taken, in parts of the sum.
type action struct {
	weight int
	take   func(*world, *rand.Rand) error
}

// actions says what happens how often. Calls and what carries them through
// dominate, so that there is something to be lost when a fault comes.
var actions = []action{
	{40, (*world).call},
	{7, (*world).repeat},
	{24, (*world).some},
	{12, (*world).all},
	{5, (*world).moment},
	{2, (*world).while},
	{4, (*world).crash},
	{4, (*world).restart},
	{2, (*world).jump},
	{2, (*world).giveUp},
	{2, (*world).haunt},
}

// take does one step, drawn from r alone.
func (w *world) take(r *rand.Rand) error {
	sum := 0
	for _, a := range actions {
		sum += a.weight
	}
	draw := r.IntN(sum)
	for _, a := range actions {
		if draw -= a.weight; draw < 0 {
			return a.take(w, r)
		}
	}
	return nil
}

// call makes a new request, and every other time lets the world take it up at
// once, so that days also get somewhere.
func (w *world) call(r *rand.Rand) error {
	request, ok := w.Scenario.Next(r, fmt.Sprintf("request-%d", w.step))
	if ok {
		w.issue(r, request)
	}
	if r.IntN(2) == 0 {
		w.settle()
	}
	return nil
}

// repeat asks once more what was asked before, answered or not, preferably lately.
func (w *world) repeat(r *rand.Rand) error {
	if len(w.calls) > 0 {
		back := min(len(w.calls), 1+r.IntN(12))
		w.issue(r, w.calls[len(w.calls)-back].Request)
	}
	return nil
}

// issue sends a request to a replica that runs.
func (w *world) issue(r *rand.Rand, request Request) {
	able := slices.DeleteFunc(w.running(), func(p *replica) bool { return p.service.Name != request.Service })
	if len(able) == 0 {
		return
	}
	w.send(able[r.IntN(len(able))], request)
}

func (w *world) send(to *replica, request Request) {
	ctx, cancel := context.WithCancel(context.Background())
	c := &Call{Request: request, Number: len(w.calls) + 1, Step: w.step, Replica: fmt.Sprintf("%s.%d", to.name, to.lives), cancel: cancel}
	w.calls = append(w.calls, c)
	w.note("%s %s to %s: %s", request.short(), requestID(request.Message), c.Replica, brief(request.Message))
	serving := to.methods
	go func() {
		defer cancel()
		answer, err := serving.invoke(withOrigin(ctx, origin{replica: c.Replica, call: c.Number}), request)
		w.mu.Lock()
		defer w.mu.Unlock()
		c.Answered, c.Answer, c.Err = true, answer, err
	}()
	synctest.Wait()
}

// some lets a few operations through, not all of them well.
func (w *world) some(r *rand.Rand) error {
	for range 1 + r.IntN(6) {
		list := w.gate.list()
		if len(list) == 0 {
			return nil
		}
		one := list[r.IntN(len(list))]
		effect, name := effectOn(one.operation, r)
		if name != "" {
			w.note("%s: %s of %s", one.replica, name, one.subject.Service)
		}
		w.releases++
		w.gate.release(one, effect)
		synctest.Wait()
	}
	return nil
}

// effectOn draws what becomes of an operation; mostly it goes well.
func effectOn(op memory.Operation, r *rand.Rand) (effect memory.Effect, name string) {
	draw := r.IntN(20)
	switch {
	case draw == 0:
		return memory.Away(), "log away at " + operationName(op)
	case op == memory.Append && draw == 1:
		return memory.Conflict(), "refused append"
	case op == memory.Append && draw <= 4:
		return memory.LostAnswer(), "lost answer to append"
	case op == memory.Append && draw <= 6:
		return memory.LostMessage(), "lost append"
	}
	return memory.Effect{}, ""
}

func operationName(op memory.Operation) string {
	switch op {
	case memory.Append:
		return "append"
	case memory.Last:
		return "look at the end"
	case memory.Read:
		return "read"
	case memory.Follow:
		return "follow"
	case memory.Sites:
		return "look for sites"
	}
	return "?"
}

// all lets the whole world catch up.
func (w *world) all(*rand.Rand) error {
	w.settle()
	return nil
}

// moment lets a little time pass, so that what pauses after a failure goes on.
func (w *world) moment(r *rand.Rand) error {
	w.pass(time.Duration(5+r.IntN(1500)) * time.Millisecond)
	return nil
}

// while lets enough time pass for what is due to fall due.
func (w *world) while(r *rand.Rand) error {
	d := time.Duration(1+r.IntN(60)) * time.Minute
	w.note("%s pass", d)
	w.pass(d)
	return nil
}

func (w *world) crash(r *rand.Rand) error {
	if up := w.running(); len(up) > 0 {
		one := up[r.IntN(len(up))]
		w.note("%s.%d crashes", one.name, one.lives)
		one.stop()
		synctest.Wait()
	}
	return nil
}

// restart starts a replica that does not run, beside its twin or alone.
func (w *world) restart(r *rand.Rand) error {
	down := slices.DeleteFunc(slices.Clone(w.replicas), (*replica).runs)
	if len(down) == 0 {
		return nil
	}
	one := down[r.IntN(len(down))]
	if err := w.start(one); err != nil {
		return err
	}
	w.note("%s.%d starts", one.name, one.lives)
	synctest.Wait()
	return nil
}

// jump sets the clock of one replica forward or back.
func (w *world) jump(r *rand.Rand) error {
	one := w.replicas[r.IntN(len(w.replicas))]
	by := time.Duration(r.IntN(240)-120) * time.Minute
	w.note("the clock of %s is now %s off", one.name, by)
	w.mu.Lock()
	defer w.mu.Unlock()
	one.skew = by
	return nil
}

// giveUp takes a caller away that waits.
func (w *world) giveUp(r *rand.Rand) error {
	w.mu.Lock()
	open := slices.DeleteFunc(slices.Clone(w.calls), func(c *Call) bool { return c.Answered })
	w.mu.Unlock()
	if len(open) > 0 {
		open[r.IntN(len(open))].cancel()
		synctest.Wait()
	}
	return nil
}

// haunt lets a message arrive whose sender has given it up.
func (w *world) haunt(*rand.Rand) error {
	if g, ok := w.ghosts.take(); ok {
		_, err := w.log.Log.Append(context.Background(), g.subject, g.expected, g.message)
		w.note("a late append of %s arrives: %v", g.subject.Service, err)
		synctest.Wait()
	}
	return nil
}

// requestID reads the request_id of a mutating request.
func requestID(m proto.Message) string {
	if r, ok := m.(interface{ GetRequestId() string }); ok {
		return r.GetRequestId()
	}
	return ""
}
