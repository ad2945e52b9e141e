package simulation

import (
	"context"
	"fmt"
	"sync/atomic"
	"time"

	"google.golang.org/grpc"

	"ramprow/internal/platform/sitelog"
)

// Service is one service as the world runs it.
type Service struct {
	Name string
	// Start opens a runner on the log and registers the gRPC methods in front of
	// it. crash ends it at once, as Runner.Abandon does.
	Start func(ctx context.Context, log sitelog.Log, o sitelog.Options, r grpc.ServiceRegistrar) (crash func(), err error)
}

// replica is a place at which a service runs, or does not at present. Two of a
// service that run at once are a lease that was given twice.
type replica struct {
	service Service
	name    string
	lives   int
	crash   func() // nil: it does not run
	methods *methods
	skew    time.Duration // of its clock
}

func (r *replica) runs() bool { return r.crash != nil }

// start runs the replica for another life.
func (w *world) start(r *replica) error {
	r.lives++
	r.methods = &methods{known: map[string]method{}}
	var ids atomic.Int64
	life := fmt.Sprintf("%s.%d", r.name, r.lives)
	o := sitelog.Options{
		Now:   func() time.Time { return w.now().Add(w.skewOf(r)) },
		NewID: func() string { return fmt.Sprintf("%s%s.%d", w.era, life, ids.Add(1)) },
	}
	var log sitelog.Log = w.log
	if w.Wrap != nil {
		log = w.Wrap(r.name, log)
	}
	crash, err := r.service.Start(withOrigin(context.Background(), origin{replica: life}), log, o, r.methods)
	if err != nil {
		return fmt.Errorf("start %s: %w", life, err)
	}
	r.crash = crash
	return nil
}

// stop crashes the replica. Its callers get no answer.
func (r *replica) stop() {
	r.crash()
	r.crash = nil
}
