package bench

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	mathrand "math/rand/v2"
	"sync"
	"sync/atomic"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/fault"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	"ramprow/services/ramprow/simulate/invariants"
)

// fight is many callers over few parts, while the inventory is killed.
type fight struct {
	c      HoldsConfig
	s      *outpost
	ctx    context.Context //nolint:containedctx // carries the clerk's token, made once like a terminal's
	began  time.Time
	next   atomic.Int64 // of the holds to try
	given  atomic.Int64
	counts [endings]atomic.Int64

	mu      sync.Mutex
	history []operation
	acks    []invariants.Ack
}

// ending is what becomes of a hold that was given.
type ending int

const (
	release ending = iota
	expire
	issue
	endings
)

// holdExpiry is how long a hold lives that is left to expire. It is short, so
// that it ends during the fight.
const holdExpiry = 400 * time.Millisecond

const fightSite = "fight"

func fightPart(n int) string { return fmt.Sprintf("LAST-%02d", n) }

// firstStock is what each part begins with: too little for all who want it.
const firstStock = 6

func newFight(ctx context.Context, c HoldsConfig, s *outpost) (*fight, error) {
	ctx, err := s.as(ctx, fightSite)
	if err != nil {
		return nil, err
	}
	f := &fight{c: c, s: s, ctx: ctx, began: time.Now()}
	for n := range c.Parts {
		part := &inventoryv1.Part{
			Number: fightPart(n), Title: "Part to fight for", Unit: commonv1.Unit_UNIT_PIECE, Supplier: "northway", LeadTimeDays: 2,
			Cost: &commonv1.Money{MinorUnits: 1, CurrencyCode: "EUR"}, // a trifle: no difference takes two counts
		}
		request := &inventoryv1.SetPartRequest{RequestId: rand.Text(), Part: part}
		_, err := again(f, func(ctx context.Context) (*inventoryv1.SetPartResponse, error) {
			return s.inventory.SetPart(ctx, request)
		})
		if err != nil {
			return nil, err
		}
		if err := f.receive(n, firstStock); err != nil {
			return nil, err
		}
	}
	return f, nil
}

// run lets everybody fight and returns when all holds have found their end.
func (f *fight) run() error {
	ctx, fail := context.WithCancelCause(f.ctx)
	defer fail(nil)
	f.ctx = ctx
	var callers sync.WaitGroup
	for caller := range f.c.Callers {
		callers.Go(func() {
			random := mathrand.New(mathrand.NewPCG(uint64(caller), 6)) //nolint:gosec // a caller's number is not negative
			for {
				n := f.next.Add(1)
				if n > int64(f.c.Holds) || ctx.Err() != nil {
					return
				}
				if err := f.hold(int(n), random); err != nil {
					fail(err)
					return
				}
			}
		})
	}
	killed := make(chan error, 1)
	go func() { killed <- f.killNowAndThen(ctx) }()
	callers.Wait()
	fail(nil) // the killer may wait for progress that no longer comes
	if err := <-killed; err != nil {
		return err
	}
	if err := context.Cause(ctx); err != nil && !errors.Is(err, context.Canceled) {
		return err
	}
	f.ctx = context.WithoutCancel(ctx) // for the look back
	return nil
}

// killNowAndThen kills the process each time that a share of the holds is done.
func (f *fight) killNowAndThen(ctx context.Context) error {
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	for kill := 1; kill <= f.c.Kills; {
		select {
		case <-ctx.Done():
			return fmt.Errorf("only %d of %d kills came before the end; ask for more holds", kill-1, f.c.Kills)
		case <-tick.C:
		}
		if f.next.Load() < int64(kill*f.c.Holds/(f.c.Kills+1)) {
			continue
		}
		if err := f.s.kill(); err != nil {
			return fmt.Errorf("kill the inventory: %w", err)
		}
		if err := f.s.start(context.WithoutCancel(ctx)); err != nil {
			return err
		}
		f.c.say("killed %d of %d times, %d holds tried", kill, f.c.Kills, f.next.Load())
		kill++
	}
	return nil
}

// again makes a call until it is answered. The same request_id makes that
// harmless: whatever became of the first try, it is done once.
func again[R any](f *fight, call func(context.Context) (R, error)) (R, error) {
	for {
		ctx, cancel := context.WithTimeout(f.ctx, patience)
		r, err := call(ctx)
		cancel()
		switch fault.KindOf(err) { //nolint:exhaustive // these alone are cured by asking again
		case fault.Unavailable, fault.Conflict, fault.Exhausted, fault.Deadline:
			if f.ctx.Err() != nil {
				return r, context.Cause(f.ctx)
			}
			pause := time.NewTimer(20 * time.Millisecond)
			select {
			case <-f.ctx.Done():
			case <-pause.C:
			}
			pause.Stop()
			continue
		}
		return r, err
	}
}

// now is the time since the fight began, for the history.
func (f *fight) now() int64 { return time.Since(f.began).Nanoseconds() }

func (f *fight) note(o operation) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.history = append(f.history, o)
}

// acknowledge keeps an answer to a command, to be found again in the log.
func (f *fight) acknowledge(method, request string, answer proto.Message) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.acks = append(f.acks, invariants.Ack{Service: "inventory", Method: method, RequestID: request, Response: answer})
}

// hold tries one hold of two or three parts and sees to its end.
func (f *fight) hold(n int, random *mathrand.Rand) error {
	job := fmt.Sprintf("jobs/%d", n)
	var wanted take
	request := &inventoryv1.HoldPartsRequest{RequestId: rand.Text(), Job: job}
	for _, part := range random.Perm(f.c.Parts)[:2+random.IntN(min(2, f.c.Parts-1))] {
		wanted[part] = 1 + random.Int64N(2)
		request.Lines = append(request.Lines, &inventoryv1.WantedPart{Part: fightPart(part), Quantity: wanted[part]})
	}
	what := issue // half is released or expires, and as many are issued
	switch random.IntN(10) {
	case 0:
		what = expire
	case 1, 2, 3, 4:
		what = release
	}
	called := f.now()
	ends := called + holdExpiry.Nanoseconds()
	if what == expire {
		request.ExpiresAt = timestamppb.New(f.began.Add(time.Duration(ends)))
	}
	resp, err := again(f, func(ctx context.Context) (*inventoryv1.HoldPartsResponse, error) {
		return f.s.inventory.HoldParts(ctx, request)
	})
	switch reason := fault.ReasonOf(err); {
	case reason == "PARTS_SHORT":
		f.note(operation{kind: opRefused, called: called, answered: f.now(), pieces: wanted, short: shortOf(err)})
		return f.restock(wanted, random)
	case reason == "WISH_INVALID" && what == expire:
		// The time for it went by while the process was away: nothing happened.
		return nil
	case err != nil:
		return fmt.Errorf("hold parts for %s: %w", job, err)
	}
	if err := complete(resp.GetHold(), wanted); err != nil {
		return err
	}
	f.given.Add(1)
	f.note(operation{kind: opHold, called: called, answered: f.now(), pieces: wanted, after: figuresOfParts(resp.GetParts()), key: request.GetRequestId()})
	f.acknowledge(inventoryv1.InventoryService_HoldParts_FullMethodName, request.GetRequestId(), resp)
	f.counts[what].Add(1)
	return f.end(what, job, wanted, ends, random)
}

// complete refuses a hold of which a piece is missing.
func complete(h *inventoryv1.Hold, wanted take) error {
	var held take
	for _, l := range h.GetLines() {
		held[partIndex(l.GetPart())] += l.GetHeld()
	}
	if held != wanted {
		return fmt.Errorf("%s is half made: %v was asked for and %v is held", h.GetName(), wanted, held)
	}
	return nil
}

func (f *fight) end(what ending, job string, wanted take, ends int64, random *mathrand.Rand) error {
	called := f.now()
	switch what {
	case release:
		request := &inventoryv1.ReleaseHoldRequest{RequestId: rand.Text(), Job: job, Reason: "not needed"}
		r, err := again(f, func(ctx context.Context) (*inventoryv1.ReleaseHoldResponse, error) {
			return f.s.inventory.ReleaseHold(ctx, request)
		})
		if err != nil {
			return fmt.Errorf("release %s: %w", job, err)
		}
		f.note(operation{kind: opFreed, called: called, answered: f.now(), pieces: wanted, key: request.GetRequestId()})
		f.acknowledge(inventoryv1.InventoryService_ReleaseHold_FullMethodName, request.GetRequestId(), r)
		return nil
	case expire:
		if err := f.awaitExpiry(job); err != nil {
			return err
		}
		f.note(operation{kind: opFreed, called: ends, answered: f.now(), pieces: wanted, key: job})
		return nil
	default:
		request := &inventoryv1.IssuePartsRequest{RequestId: rand.Text(), Job: job}
		r, err := again(f, func(ctx context.Context) (*inventoryv1.IssuePartsResponse, error) {
			return f.s.inventory.IssueParts(ctx, request)
		})
		if err != nil {
			return fmt.Errorf("issue %s: %w", job, err)
		}
		f.note(operation{kind: opIssued, called: called, answered: f.now(), pieces: wanted, key: request.GetRequestId()})
		f.acknowledge(inventoryv1.InventoryService_IssueParts_FullMethodName, request.GetRequestId(), r)
		return f.restock(wanted, random)
	}
}

// awaitExpiry asks until the hold has ended by itself.
func (f *fight) awaitExpiry(job string) error {
	tick := time.NewTicker(50 * time.Millisecond)
	defer tick.Stop()
	for deadline := time.Now().Add(2 * patience); ; {
		r, err := again(f, func(ctx context.Context) (*inventoryv1.GetHoldResponse, error) {
			return f.s.inventory.GetHold(ctx, &inventoryv1.GetHoldRequest{Job: job})
		})
		switch {
		case err != nil && fault.KindOf(err) != fault.NotFound: // the row may be a moment late
			return fmt.Errorf("look at the hold of %s: %w", job, err)
		case r.GetHold().GetState() == inventoryv1.HoldState_HOLD_STATE_EXPIRED:
			return nil
		case time.Now().After(deadline):
			return fmt.Errorf("the hold of %s has not expired", job)
		}
		select {
		case <-f.ctx.Done():
			return context.Cause(f.ctx)
		case <-tick.C:
		}
	}
}

// restock brings about as much as goes out, so that it stays scarce; sometimes
// somebody counts a shelf and finds one piece more or less.
func (f *fight) restock(wanted take, random *mathrand.Rand) error {
	for part, n := range wanted {
		if n == 0 || random.IntN(5) == 0 {
			continue
		}
		if random.IntN(12) == 0 {
			return f.count(part, 1+random.Int64N(firstStock))
		}
		if random.IntN(3) > 0 {
			return f.receive(part, n)
		}
	}
	return nil
}

func (f *fight) receive(part int, pieces int64) error {
	o := operation{kind: opReceived, called: f.now()}
	o.pieces[part] = pieces
	request := &inventoryv1.ReceiveGoodsRequest{
		RequestId: rand.Text(), Lines: []*inventoryv1.ReceivedLine{{Part: fightPart(part), Quantity: pieces}},
	}
	r, err := again(f, func(ctx context.Context) (*inventoryv1.ReceiveGoodsResponse, error) {
		return f.s.inventory.ReceiveGoods(ctx, request)
	})
	if err != nil {
		return fmt.Errorf("receive %s: %w", fightPart(part), err)
	}
	o.answered, o.after, o.key = f.now(), figuresOfParts(r.GetParts()), request.GetRequestId()
	f.note(o)
	f.acknowledge(inventoryv1.InventoryService_ReceiveGoods_FullMethodName, request.GetRequestId(), r)
	return nil
}

func (f *fight) count(part int, counted int64) error {
	o := operation{kind: opCounted, called: f.now()}
	o.pieces[part] = counted
	request := &inventoryv1.CountShelfRequest{RequestId: rand.Text(), Part: fightPart(part), Counted: counted, Cause: inventoryv1.CountCause_COUNT_CAUSE_MISCOUNTED}
	r, err := again(f, func(ctx context.Context) (*inventoryv1.CountShelfResponse, error) {
		return f.s.inventory.CountShelf(ctx, request)
	})
	if fault.ReasonOf(err) == "COUNT_BELOW_HELD" {
		o.kind, o.answered = opCountRefused, f.now()
		f.note(o)
		return nil
	}
	if err != nil {
		return fmt.Errorf("count %s: %w", fightPart(part), err)
	}
	o.answered, o.after, o.key = f.now(), figuresOfParts([]*inventoryv1.Part{r.GetPart()}), request.GetRequestId()
	f.note(o)
	f.acknowledge(inventoryv1.InventoryService_CountShelf_FullMethodName, request.GetRequestId(), r)
	return nil
}

func (f *fight) tell(r *HoldsReport) {
	r.Given = int(f.given.Load())
	r.Released, r.Expired, r.Issued = int(f.counts[release].Load()), int(f.counts[expire].Load()), int(f.counts[issue].Load())
	r.Calls = len(f.history)
	for _, o := range f.history {
		if o.kind == opRefused {
			r.Refused++
		}
	}
}
