package sitelog

import (
	"context"
	"fmt"
	"maps"

	logv1 "ramprow/proto/ramprow/log/v1"
)

// ProgressEvery is how many foreign commits of no interest pass before the
// position is written by itself. A small number would let two services that
// follow each other answer progress with progress for ever.
const ProgressEvery = 1000

// foreignQueue bounds the foreign commits that are read ahead per site.
const foreignQueue = 64

type (
	// foreignCommit is one record of a followed log.
	foreignCommit struct {
		service  string
		sequence uint64
		commit   *logv1.Commit
		broken   error  // why the payload is no commit
		payload  []byte // set when broken
	}

	// followers reads the followed logs of one site.
	followers struct {
		cancel  context.CancelFunc
		commits chan foreignCommit
		// seen is how far each log has been reacted to. It runs ahead of the
		// ledger's position by commits that held nothing of interest.
		seen    map[string]uint64
		skipped map[string]int
		// poison holds foreign events whose reaction Evolve could not take.
		poison map[string]string
	}
)

// follow starts reading every followed log from the position in the own log.
// The channel is fresh, so nothing that older followers hold is reacted to.
func (w *writer[S]) follow() {
	ctx, cancel := context.WithCancel(w.ctx)
	commits := make(chan foreignCommit, foreignQueue)
	w.foreign.cancel = cancel
	w.foreign.commits = commits
	w.foreign.seen = maps.Clone(w.ledger.positions)
	w.foreign.skipped = map[string]int{}
	if w.foreign.poison == nil {
		w.foreign.poison = map[string]string{}
	}
	if !w.active {
		return
	}
	for _, service := range w.machine.Follows {
		after := w.foreign.seen[service]
		go w.followOne(ctx, service, after, commits)
	}
}

// followOne reads one log for as long as ctx lives.
func (w *writer[S]) followOne(ctx context.Context, service string, after uint64, commits chan<- foreignCommit) {
	subject := Subject{Service: service, Site: w.subject.Site}
	hand := func(r Record) error {
		f := foreignCommit{service: service, sequence: r.Sequence}
		f.commit, f.broken = DecodeCommit(r.Data)
		if f.broken != nil {
			f.payload = r.Data
		}
		select {
		case commits <- f:
			after = r.Sequence
			return nil
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	for pause := firstPause; ; pause = min(2*pause, longPause) {
		before := after
		err := w.log.Follow(ctx, subject, after, hand)
		if ctx.Err() != nil {
			return
		}
		if after > before {
			pause = firstPause
		}
		w.o.Logger.Warn("following was interrupted; starting again", "service", w.subject.Service,
			"site", w.subject.Site, "follows", service, "after", after, "error", fmt.Sprint(err))
		if !rest(ctx, pause) {
			return
		}
	}
}
