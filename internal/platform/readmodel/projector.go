package readmodel

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"

	"ramprow/internal/platform/sitelog"
)

// Config is what a Projector needs.
type Config[S any] struct {
	Projection Projection[S]
	Log        sitelog.Log
	Store      *Store
	Logger     *slog.Logger // nil: no logging
	// Snapshots shortens the way to the present state; nil: the whole log is read.
	Snapshots sitelog.SnapshotStore
}

// Projector keeps the rows of all sites of one service up to date.
type Projector[S any] struct {
	Config[S]

	mu      sync.Mutex
	sites   map[string]*site[S]
	arrived chan struct{} // closed when a site is added
}

// NewProjector checks the projection. Nothing happens before Run.
func NewProjector[S any](c Config[S]) (*Projector[S], error) {
	if err := c.Projection.validate(); err != nil {
		return nil, err
	}
	if c.Log == nil || c.Store == nil {
		return nil, errors.New("readmodel: a projector needs a log and a store")
	}
	if c.Logger == nil {
		c.Logger = slog.New(slog.DiscardHandler)
	}
	return &Projector[S]{Config: c, sites: map[string]*site[S]{}, arrived: make(chan struct{})}, nil
}

// Run follows the log of every site until ctx ends. A Redis that is away, or a
// log that breaks off, is tried again for ever; nothing is lost by it.
func (p *Projector[S]) Run(ctx context.Context) error {
	var sites sync.WaitGroup
	defer sites.Wait()
	service := p.Projection.Machine.Service
	retry(ctx, p.reporter("look for sites", ""), func() error {
		return p.Log.Sites(ctx, service, func(name string) error {
			if s, isNew := p.add(name); isNew {
				sites.Go(func() { p.follow(ctx, s) })
				sites.Go(func() { s.write(ctx, p.Store, p.reporter("write rows", name)) })
			}
			return nil
		})
	})
	return ctx.Err()
}

func (p *Projector[S]) reporter(doing, site string) func(error) {
	return func(err error) {
		p.Logger.Warn("read model stands still and tries again", "doing", doing,
			"service", p.Projection.Machine.Service, "site", site, "error", err)
	}
}

func (p *Projector[S]) add(name string) (s *site[S], isNew bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if s, ok := p.sites[name]; ok {
		return s, false
	}
	s = newSite(p.Projection, p.Log, name)
	p.sites[name] = s
	close(p.arrived)
	p.arrived = make(chan struct{})
	return s, true
}

// follow folds one site's log until ctx ends.
func (p *Projector[S]) follow(ctx context.Context, s *site[S]) {
	retry(ctx, p.reporter("follow the log", s.subject.Site), func() error {
		err := p.followOnce(ctx, s)
		if err != nil {
			s.stopped(err)
		}
		return err
	})
}

func (p *Projector[S]) followOnce(ctx context.Context, s *site[S]) error {
	// The position is read before the log's end, so that a position beyond the
	// end can only mean a log that lost its tail.
	found, err := p.Store.position(ctx, s.keys)
	if err != nil {
		found = position{} // The writer looks again, as often as needed.
	}
	after, err := p.begin(ctx, s, found, p.Snapshots)
	if err != nil {
		return err
	}
	return p.Log.Follow(ctx, s.subject, after, s.fold)
}

// begin learns which log it is and how far it reaches, and restores the fold of a
// log that is new to it.
func (p *Projector[S]) begin(ctx context.Context, s *site[S], found position, store sitelog.SnapshotStore) (after uint64, err error) {
	last, err := p.Log.Last(ctx, s.subject)
	if err != nil {
		return 0, err
	}
	log, err := firstCommit(ctx, p.Log, s.subject)
	if err != nil {
		return 0, err
	}
	if s.knows(log) {
		return s.goOn(last.Sequence), nil
	}
	snapshots := sitelog.Snapshots[S]{Store: store, Log: p.Log, Machine: p.Projection.Machine, Logger: p.Logger}
	restored, err := snapshots.Restore(ctx, s.subject.Site)
	if err != nil {
		return 0, err
	}
	s.begin(log, last.Sequence, found, restored)
	return s.goOn(last.Sequence), nil
}

var errEnough = errors.New("enough read")

// firstCommit gives the id of the first commit, which tells one log from another.
func firstCommit(ctx context.Context, log sitelog.Log, subject sitelog.Subject) (id string, err error) {
	err = log.Read(ctx, subject, 0, func(r sitelog.Record) error {
		commit, err := sitelog.DecodeCommit(r.Data)
		if err != nil {
			return err
		}
		id = commit.GetId()
		return errEnough
	})
	if err != nil && !errors.Is(err, errEnough) {
		return "", err
	}
	if id == "" {
		return "", fmt.Errorf("the log of %s at site %s is empty", subject.Service, subject.Site)
	}
	return id, nil
}

// find gives a site, and waits for it if its log is there but has not been
// looked at yet, or is promised by a revision. Nil: the site has no log.
func (p *Projector[S]) find(ctx context.Context, name string, revision uint64) (*site[S], error) {
	if s, _ := p.known(name); s != nil {
		return s, nil
	}
	if revision == 0 {
		last, err := p.Log.Last(ctx, sitelog.Subject{Service: p.Projection.Machine.Service, Site: name})
		if err != nil || last.Sequence == 0 {
			return nil, err
		}
	}
	return p.await(ctx, name)
}

func (p *Projector[S]) await(ctx context.Context, name string) (*site[S], error) {
	for {
		s, arrived := p.known(name)
		if s != nil {
			return s, nil
		}
		select {
		case <-arrived:
		case <-ctx.Done():
			return nil, behind(ctx.Err())
		}
	}
}

func (p *Projector[S]) known(name string) (*site[S], <-chan struct{}) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.sites[name], p.arrived
}

// View shows the state that the projector has folded, at least as new as the
// log was when the projector began. fn must not keep it. A Projector is thus
// its own State for Views, where no writer runs in the process.
func (p *Projector[S]) View(ctx context.Context, name string, fn func(S) error) (revision uint64, err error) {
	s, err := p.find(ctx, name, 0)
	if err != nil {
		return 0, err
	}
	if s == nil {
		return 0, fn(p.Projection.Machine.New(name))
	}
	if err := s.await(ctx, func() bool { return s.folded(0) }); err != nil {
		return 0, err
	}
	return s.view(ctx, fn)
}
