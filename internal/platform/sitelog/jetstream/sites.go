package jetstream

import (
	"context"
	"sync"

	"github.com/nats-io/nats.go/jetstream"
)

// Sites implements sitelog.Log. All who ask for one service's sites share one
// consumer: it is told of every commit, and so costs something with each.
func (l *Log) Sites(ctx context.Context, service string, fn func(string) error) error {
	census := l.join(service)
	defer l.leave(service, census)
	for given := 0; ; {
		sites, changed, err := census.after(given)
		for _, site := range sites {
			if err := fn(site); err != nil {
				return err
			}
		}
		given += len(sites)
		if err != nil {
			return err
		}
		select {
		case <-changed:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// census knows every site that has a log of a service.
type census struct {
	users int // under Log.mu
	stop  context.CancelFunc

	mu      sync.Mutex
	sites   []string // in the order in which they were found
	err     error    // why no more are found
	changed chan struct{}
}

// join gives a service's census, and begins one if there is none.
func (l *Log) join(service string) *census {
	l.mu.Lock()
	defer l.mu.Unlock()
	c := l.censuses[service]
	if c == nil {
		ctx, stop := context.WithCancel(context.Background())
		c = &census{stop: stop, changed: make(chan struct{})}
		l.censuses[service] = c
		go func() { c.end(l.count(ctx, service, c)) }()
	}
	c.users++
	return c
}

// leave ends a census that nobody needs any more, and lets one that has broken
// off be begun anew.
func (l *Log) leave(service string, c *census) {
	l.mu.Lock()
	defer l.mu.Unlock()
	c.users--
	if c.users > 0 && !c.ended() {
		return
	}
	c.stop()
	if l.censuses[service] == c {
		delete(l.censuses, service)
	}
}

// count finds sites until ctx ends or the consumer breaks off.
func (l *Log) count(ctx context.Context, service string, c *census) error {
	config := jetstream.OrderedConsumerConfig{
		FilterSubjects:    []string{service + ".*.*"},
		DeliverPolicy:     jetstream.DeliverLastPerSubjectPolicy,
		HeadersOnly:       true,
		InactiveThreshold: idleConsumer,
	}
	known := map[string]bool{}
	return l.each(ctx, service, config, func(m jetstream.Msg, _ uint64) error {
		if site := siteOf(m.Subject()); !known[site] {
			known[site] = true
			c.add(site)
		}
		return nil
	})
}

func (c *census) add(site string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.sites = append(c.sites, site)
	c.tell()
}

func (c *census) end(err error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.err = err
	c.tell()
}

// tell wakes everybody who waits for a change. mu is held.
func (c *census) tell() {
	close(c.changed)
	c.changed = make(chan struct{})
}

func (c *census) ended() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.err != nil
}

// after gives the sites found beside the first so many, and a channel that is
// closed when there is news.
func (c *census) after(given int) (sites []string, changed <-chan struct{}, err error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.sites[given:len(c.sites):len(c.sites)], c.changed, c.err
}
