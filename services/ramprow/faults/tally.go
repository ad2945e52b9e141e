package faults

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/simulation"
	jobv1 "ramprow/proto/ramprow/job/v1"
	"ramprow/services/ramprow/simulate/invariants"
)

// seat is a role at a site: what one log belongs to.
type seat struct{ role, site string }

// String names it.
func (s seat) String() string { return s.role + " at " + s.site }

// key names a request in a log.
func (s seat) key(id string) string { return s.site + " " + s.role + " " + id }

// tally is what callers were told.
type tally struct {
	mu       sync.Mutex
	acks     map[string][]invariants.Ack // by site
	sent     map[string]*asked           // by log and request_id
	refusals int
	reasons  map[string]int  // of refusals and of calls that were made again
	newest   map[seat]uint64 // the highest revision of a receipt
	commands int             // acknowledged, each once
	probes   int             // of them those that only ask whether somebody is there
	repeats  int             // acknowledged once more
	reads    int
	again    int // calls that had to be made again
	wrong    []string
	outages  []*outage
	changed  chan struct{}
}

func newTally() *tally {
	return &tally{
		acks: map[string][]invariants.Ack{}, sent: map[string]*asked{},
		reasons: map[string]int{}, newest: map[seat]uint64{}, changed: make(chan struct{}),
	}
}

// tell wakes everybody who waits. mu is held.
func (t *tally) tell() {
	close(t.changed)
	t.changed = make(chan struct{})
}

// asked is what became of a request.
type asked struct{ refused bool }

// asks notes a request before it is sent for the first time.
func (t *tally) asks(s seat, id string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.sent[s.key(id)] = &asked{}
}

// answer is one success.
type answer struct {
	seat     seat
	call     *simulation.Call
	id       string
	sentAt   time.Time // of the attempt that was answered
	repeated bool      // it was known to be answered before
	probe    bool
}

// acknowledged notes a success. Of a job in it only the name is kept: it comes as
// it is when it is told.
func (t *tally) acknowledged(a answer) {
	response := proto.Clone(a.call.Answer)
	if of, ok := response.(interface{ GetJob() *jobv1.Job }); ok && of.GetJob() != nil {
		name := of.GetJob().GetName()
		proto.Reset(of.GetJob())
		of.GetJob().Name = name
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	t.acks[a.seat.site] = append(t.acks[a.seat.site], invariants.Ack{
		Service: a.seat.role, Method: a.call.Method, RequestID: a.id, Response: response,
	})
	switch {
	case a.repeated:
		t.repeats++
	default:
		t.commands++
		if a.probe {
			t.probes++
		}
	}
	t.newest[a.seat] = max(t.newest[a.seat], revisionOf(response))
	t.served(need{seat: a.seat}, a.sentAt)
	t.tell()
}

// read notes an answered read.
func (t *tally) read(s seat, sentAt time.Time) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.reads++
	t.served(need{seat: s, reads: true}, sentAt)
	t.tell()
}

// served ends outages that waited for an answer to what was asked after the
// fault. mu is held.
func (t *tally) served(n need, sentAt time.Time) {
	now := time.Now()
	for _, o := range t.outages {
		if o.open[n] && !o.counts.IsZero() && sentAt.After(o.counts) {
			delete(o.open, n)
			o.ended = now
		}
	}
}

// refusedFor notes a refusal, which is final.
func (t *tally) refusedFor(s seat, id string, err error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.sent[s.key(id)].refused = true
	t.refusals++
	t.reasons[fault.ReasonOf(err)]++
}

// madeAgain notes a call that was neither answered nor refused for good.
func (t *tally) madeAgain(err error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.again++
	t.reasons[fault.ReasonOf(err)]++
	t.tell()
}

// violated notes what must not be.
func (t *tally) violated(format string, args ...any) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if len(t.wrong) < 50 {
		t.wrong = append(t.wrong, fmt.Sprintf(format, args...))
	}
	t.tell()
}

// forgetReasons gives the reasons that were counted, and begins anew.
func (t *tally) forgetReasons() map[string]int {
	t.mu.Lock()
	defer t.mu.Unlock()
	reasons := t.reasons
	t.reasons = map[string]int{}
	return reasons
}

// addReasons counts again what was forgotten.
func (t *tally) addReasons(forgotten ...map[string]int) {
	t.mu.Lock()
	defer t.mu.Unlock()
	for _, reasons := range forgotten {
		for reason, n := range reasons {
			t.reasons[reason] += n
		}
	}
}

// count gives how many commands were acknowledged and how many calls made again.
func (t *tally) count() (commands, again int) {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.commands, t.again
}

// await waits for a condition, which is asked under the lock after each change.
// Without any change for the time of patience it gives up.
func (t *tally) await(ctx context.Context, what string, so func() bool) error {
	quiet := time.NewTimer(patience)
	defer quiet.Stop()
	for {
		t.mu.Lock()
		done, changed, wrong := so(), t.changed, len(t.wrong)
		t.mu.Unlock()
		switch {
		case done:
			return nil
		case wrong > 0:
			return errBroken
		}
		select {
		case <-changed:
			quiet.Reset(patience)
		case <-quiet.C:
			return fmt.Errorf("nothing happened for %v while waiting for %s", patience, what)
		case <-ctx.Done():
			return context.Cause(ctx)
		}
	}
}

// errBroken ends a run at its first violation.
var errBroken = errors.New("a rule is broken")
