package inventory

import (
	"context"
	"fmt"
	"math/rand/v2"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/memory"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// fight is many callers over few parts, while the service crashes again and
// again and the log loses messages and answers.
type fight struct {
	t    *testing.T
	ctx  context.Context
	log  *memory.Log
	jobs *sitelog.Runner[int]
	// runner is replaced at every crash.
	mu       sync.RWMutex
	runner   *sitelog.Runner[*State]
	requests atomic.Uint64
	clock    atomic.Int64 // minutes since monday: it runs with the calls
	done     atomic.Int64 // commands that were acknowledged
	refused  atomic.Int64
	received atomic.Int64 // pieces of which the caller was told that they are on the shelf
}

const (
	fightParts   = 20
	fightCallers = 64
)

func fightPart(n int) string { return fmt.Sprintf("P-%02d", n) }

func (f *fight) now() time.Time {
	return monday.Add(time.Duration(f.clock.Load()) * time.Minute)
}

func (f *fight) open() {
	runner, err := sitelog.Open(f.ctx, f.log, Machine(), sitelog.Options{Now: f.now})
	check(f.t, err)
	f.mu.Lock()
	defer f.mu.Unlock()
	f.runner = runner
}

func (f *fight) current() *sitelog.Runner[*State] {
	f.mu.RLock()
	defer f.mu.RUnlock()
	return f.runner
}

// crash ends the service without a word, and starts another one.
func (f *fight) crash() {
	f.current().Abandon()
	f.open()
}

// call sends one command until it is answered: the same request_id makes a
// repeat harmless, whatever became of the first try.
func call[Q, R proto.Message](f *fight, decide func(*State, sitelog.Input, Q) ([]proto.Message, R, error), req Q) {
	id := fmt.Sprintf("fight-%d", f.requests.Add(1))
	for f.ctx.Err() == nil {
		_, err := f.current().Do(f.ctx, "north", sitelog.Command[*State]{
			Method: "fight", RequestID: id, Request: req,
			Decide: func(st *State, in sitelog.Input) (sitelog.Decision, error) {
				events, resp, err := decide(st, in, req)
				return sitelog.Decision{Events: events, Response: resp}, err
			},
		})
		kind := fault.KindOf(err)
		switch {
		case err == nil:
			f.done.Add(1)
		case kind == fault.Unavailable || kind == fault.Conflict || kind == fault.Exhausted:
			continue // the service fell over, or had no room: again
		case kind == fault.Precondition || kind == fault.NotFound:
			f.refused.Add(1)
		default:
			f.t.Errorf("%T: %v", req, err)
		}
		return
	}
}

// caller plays one person with jobs of his own, who does not look at the others.
func (f *fight) caller(number, rounds int) {
	random := rand.New(rand.NewPCG(uint64(number), 1))
	part := func() string { return fightPart(random.IntN(fightParts)) }
	for round := range rounds {
		f.clock.Add(int64(random.IntN(20)))
		job := number*rounds + round + 1
		f.expect(publish(f.ctx, f.jobs, fmt.Sprintf("job-%d", job), confirmed(job, uint32(random.IntN(4)),
			line("a", part(), 1+random.Int64N(3)), line("b", part(), 1+random.Int64N(3)))))
		other := 1 + random.IntN(job)
		pieces := 1 + random.Int64N(4)
		call(f, receiveGoods, &inventoryv1.ReceiveGoodsRequest{Lines: []*inventoryv1.ReceivedLine{{Part: part(), Quantity: pieces}}})
		f.received.Add(pieces)
		call(f, issueParts, &inventoryv1.IssuePartsRequest{Job: jobName(other)})
		switch random.IntN(5) {
		case 0:
			call(f, returnParts, &inventoryv1.ReturnPartsRequest{Job: jobName(other), Lines: []string{"a"}})
		case 1:
			call(f, releaseHold, &inventoryv1.ReleaseHoldRequest{Job: jobName(job), Reason: "fight"})
		case 2:
			call(f, countShelf, &inventoryv1.CountShelfRequest{Part: part(), Counted: random.Int64N(8), Cause: mislaid})
		case 3:
			call(f, scrapPart, &inventoryv1.ScrapPartRequest{Part: part(), Quantity: 1, Reason: "bent"})
		case 4:
			f.expect(publish(f.ctx, f.jobs, fmt.Sprintf("cancel-%d", job), &jobv1.JobCancelled{Job: jobName(other)}))
		}
	}
}

func (f *fight) expect(err error) {
	if err != nil {
		f.t.Error(err)
	}
}

// unreliable makes the inventory's log lose every so many messages, or the
// answers to them.
func unreliable() memory.Hook {
	var appends atomic.Int64
	return func(_ context.Context, op memory.Operation, s sitelog.Subject) memory.Effect {
		if op != memory.Append || s.Service != Service {
			return memory.Effect{}
		}
		switch n := appends.Add(1); {
		case n%17 == 0:
			return memory.LostAnswer()
		case n%23 == 0:
			return memory.LostMessage()
		}
		return memory.Effect{}
	}
}

// replay folds what is in the log, and nothing else.
func (f *fight) replay() *site {
	s := newSite(f.t)
	check(f.t, f.log.Read(f.ctx, sitelog.Subject{Service: Service, Site: "north"}, 0, func(r sitelog.Record) error {
		events, err := sitelog.EventsOf(r)
		for _, e := range events {
			s.evolve(e)
			s.history = append(s.history, e.Message)
			auditSteps(s.t, s.st, s.history)
		}
		return err
	}))
	// Ends of holds that lie between the last commit and now are still to come.
	s.now = monday
	return s
}

func TestManyCallersFightForTheLastPieces(t *testing.T) {
	rounds, crashes := 12, 5
	if testing.Short() {
		rounds = 3
	}
	ctx, cancel := context.WithTimeout(t.Context(), 4*patience)
	defer cancel()
	f := &fight{t: t, ctx: ctx, log: memory.New()}
	var err error
	f.jobs, err = quiet(ctx, f.log, jobService)
	check(t, err)
	f.open()
	for n := range fightParts {
		call(f, setPart, &inventoryv1.SetPartRequest{Part: aPart(fightPart(n))})
	}
	f.log.SetHook(unreliable())
	began := time.Now()
	var callers sync.WaitGroup
	for n := range fightCallers {
		callers.Go(func() { f.caller(n, rounds) })
	}
	for crash := range crashes {
		f.waitFor(int64((crash + 1) * fightCallers * rounds / crashes))
		f.crash()
	}
	callers.Wait()
	f.catchUp(fightCallers * rounds)
	took := time.Since(began)
	f.current().Close()
	f.jobs.Close()

	s := f.replay()
	s.audit()
	received := int64(0)
	for _, m := range s.all.movements {
		if m.GetKind() == inventoryv1.MovementKind_MOVEMENT_KIND_RECEIVED {
			received += m.GetQuantity()
		}
	}
	if received != f.received.Load() {
		t.Errorf("%d pieces are in the log, and %d were acknowledged", received, f.received.Load())
	}
	held := 0
	for _, h := range s.all.holds {
		if h.doc.GetState() == stateHeld || h.doc.GetState() == stateSettled {
			held++
		}
	}
	if held == 0 || f.refused.Load() == 0 {
		t.Errorf("%d holds are complete and %d commands were refused: nobody fought", held, f.refused.Load())
	}
	t.Logf("%d commands done, %d refused, %d jobs, %d movements, %d crashes in %v",
		f.done.Load(), f.refused.Load(), len(s.all.holds), s.st.moved, crashes, took.Round(time.Millisecond))
}

// waitFor returns once so many commands are done or refused.
func (f *fight) waitFor(commands int64) {
	for f.done.Load()+f.refused.Load() < commands && f.ctx.Err() == nil {
		_, err := f.current().Describe(f.ctx, "north") // it waits for its turn like every caller
		if err != nil {
			continue
		}
	}
}

// catchUp returns once every job's plan has been heard of.
func (f *fight) catchUp(jobs int) {
	for f.ctx.Err() == nil {
		known := 0
		_, err := f.current().View(f.ctx, "north", func(st *State) error {
			filed, _ := st.shelves.holds.Len()
			known = len(st.holds) + filed
			return nil
		})
		if err == nil && known == jobs {
			break
		}
	}
	last, err := f.log.Last(f.ctx, sitelog.Subject{Service: jobService, Site: "north"})
	f.expect(err)
	for f.ctx.Err() == nil {
		d, err := f.current().Describe(f.ctx, "north")
		if err == nil && d.Positions[jobService] >= last.Sequence {
			return
		}
	}
	f.t.Error("the jobs were not all heard of in time")
}
