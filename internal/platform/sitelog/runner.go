package sitelog

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"go.opentelemetry.io/otel/trace"
)

// Runner runs a service's machine over the logs of all its sites: one writer
// per site, started on demand and for every site that already has a log.
type Runner[S any] struct {
	log     Log
	machine Machine[S]
	o       Options
	tracer  trace.Tracer

	ctx    context.Context //nolint:containedctx // the life of the writers, not of a call
	cancel context.CancelCauseFunc

	moved hearer

	mu      sync.RWMutex
	writers map[string]*writer[S]
	closed  bool
}

// errAbandoned ends writers that do not drain.
var errAbandoned = errors.New("the runner was stopped without draining")

// Open checks the machine and starts the writers of all known sites. ctx bounds
// Open alone: a runner lives until Close.
func Open[S any](ctx context.Context, log Log, m Machine[S], o Options) (*Runner[S], error) {
	if err := m.check(); err != nil {
		return nil, err
	}
	o = o.withDefaults()
	life, cancel := context.WithCancelCause(context.WithoutCancel(ctx))
	r := &Runner[S]{
		log:     log,
		machine: m,
		o:       o,
		tracer:  o.TracerProvider.Tracer(scope),
		ctx:     life,
		cancel:  cancel,
		writers: map[string]*writer[S]{},
	}
	for _, service := range append([]string{m.Service}, m.Follows...) {
		go r.discover(service)
	}
	return r, nil
}

func (m Machine[S]) check() error {
	switch {
	case !ValidName(m.Service):
		return fmt.Errorf("sitelog: %q cannot name a service's log", m.Service)
	case m.New == nil || m.Evolve == nil:
		return fmt.Errorf("sitelog: the machine of %s lacks New or Evolve", m.Service)
	case len(m.Follows) > 0 && m.React == nil:
		return fmt.Errorf("sitelog: the machine of %s follows others and has no React", m.Service)
	case (m.Due == nil) != (m.Fire == nil):
		return fmt.Errorf("sitelog: the machine of %s has only one of Due and Fire", m.Service)
	case (m.Snapshot == nil) != (m.Restore == nil):
		return fmt.Errorf("sitelog: the machine of %s has only one of Snapshot and Restore", m.Service)
	}
	for _, service := range m.Follows {
		if !ValidName(service) || service == m.Service {
			return fmt.Errorf("sitelog: %s cannot follow %q", m.Service, service)
		}
	}
	return nil
}

// discover starts a writer for every site that has a log of the service, so
// that reactions and timers run without a command.
func (r *Runner[S]) discover(service string) {
	for pause := firstPause; ; pause = min(2*pause, longPause) {
		err := r.log.Sites(r.ctx, service, func(site string) error {
			if _, err := r.writer(site); err != nil && r.ctx.Err() == nil {
				r.o.Logger.Error("a site cannot be served", "service", r.machine.Service, "site", site, "error", err)
			}
			return nil
		})
		if r.ctx.Err() != nil {
			return
		}
		r.o.Logger.Warn("looking for sites was interrupted; starting again", "service", service, "error", fmt.Sprint(err))
		if !rest(r.ctx, pause) {
			return
		}
	}
}

// writer gives the site's writer, and starts it if it is the first time.
func (r *Runner[S]) writer(site string) (*writer[S], error) {
	r.mu.RLock()
	w, ok := r.writers[site]
	closed := r.closed
	r.mu.RUnlock()
	subject := Subject{Service: r.machine.Service, Site: site}
	if closed {
		return nil, outward(subject, errAbandoned)
	}
	if ok {
		return w, nil
	}
	if !ValidName(site) {
		return nil, badSite(site)
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if w, ok := r.writers[site]; ok {
		return w, nil
	}
	if r.closed {
		return nil, outward(subject, errAbandoned)
	}
	w = &writer[S]{
		machine: r.machine, log: r.log, o: r.o, tracer: r.tracer, subject: subject,
		ctx:      r.ctx,
		moved:    &r.moved,
		inbox:    make(chan *task[S], r.o.Queue),
		stop:     make(chan struct{}),
		wake:     make(chan struct{}, 1),
		stopped:  make(chan struct{}),
		landings: make(chan landing, 1),
		batch:    &batch[S]{},
		open:     map[string]*task[S]{},
		gauges:   newGauges(r.machine.Follows),
	}
	r.writers[site] = w
	go w.run()
	return w, nil
}

// Close takes no new calls, lets every writer finish what waits, and returns
// when all have ended. What the log does not take within Options.DrainTimeout
// stays unanswered, and the same request_id tells later what became of it.
func (r *Runner[S]) Close() {
	timer := time.AfterFunc(r.o.DrainTimeout, func() { r.cancel(errAbandoned) })
	defer timer.Stop()
	writers := r.shut()
	for _, w := range writers {
		close(w.stop)
	}
	for _, w := range writers {
		<-w.stopped
	}
	r.cancel(errAbandoned)
}

// Abandon stops at once, as a crash would: nobody is answered, and what is
// being published may or may not be in the log. Simulations and tests use it.
func (r *Runner[S]) Abandon() {
	writers := r.shut()
	r.cancel(errAbandoned)
	for _, w := range writers {
		<-w.stopped
	}
}

// shut refuses new calls and gives the writers to stop; none the second time.
func (r *Runner[S]) shut() []*writer[S] {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.closed {
		return nil
	}
	r.closed = true
	writers := make([]*writer[S], 0, len(r.writers))
	for _, w := range r.writers {
		writers = append(writers, w)
	}
	return writers
}
