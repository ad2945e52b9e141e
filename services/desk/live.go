package desk

import (
	"context"
	"io"
	"log/slog"
	"strings"
	"sync"
	"time"

	"ramprow/internal/platform/rpc"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

const (
	maxListeners = 1000 // open pages of all sites
	streamPause  = time.Second
)

// topic is something that pages follow: jobs, board, parts, or the sheet of a job.
type topic struct{ site, name string }

// live follows each topic by one stream, however many pages are open, and tells
// them that something changed. What changed they ask for themselves.
type live struct {
	services Services
	logger   *slog.Logger

	mu      sync.Mutex
	feeds   map[topic]*feed
	count   int
	closed  bool
	running sync.WaitGroup
}

// feed is one topic with those who listen.
type feed struct {
	cancel    context.CancelFunc
	listeners map[*listener]struct{}
}

// listener is one open page.
type listener struct {
	token string
	wake  chan struct{} // holds one token

	mu       sync.Mutex
	revision uint64 // the newest of what changed
}

func newLive(services Services, logger *slog.Logger) *live {
	return &live{services: services, logger: logger, feeds: map[topic]*feed{}}
}

// listen begins to tell about a topic until the returned function is called; nil
// if no more pages can be served.
func (l *live) listen(t topic, token string) (*listener, func()) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.closed || l.count >= maxListeners {
		return nil, nil
	}
	l.count++
	listening := &listener{token: token, wake: make(chan struct{}, 1)}
	f := l.feeds[t]
	if f == nil {
		ctx, cancel := context.WithCancel(context.Background())
		f = &feed{cancel: cancel, listeners: map[*listener]struct{}{}}
		l.feeds[t] = f
		l.running.Go(func() { l.follow(ctx, t) })
	}
	f.listeners[listening] = struct{}{}
	return listening, func() { l.leave(listening, t) }
}

func (l *live) leave(listening *listener, t topic) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.count--
	f := l.feeds[t]
	if f == nil {
		return
	}
	delete(f.listeners, listening)
	if len(f.listeners) == 0 {
		f.cancel()
		delete(l.feeds, t)
	}
}

func (l *live) close() {
	l.mu.Lock()
	l.closed = true
	for _, f := range l.feeds {
		f.cancel()
	}
	l.feeds = map[topic]*feed{}
	l.mu.Unlock()
	l.running.Wait()
}

// follow keeps a topic's stream open until its last listener left. It is opened
// in the name of anybody who listens: what it tells is only that something changed.
func (l *live) follow(ctx context.Context, t topic) {
	for ctx.Err() == nil {
		if token, ok := l.someToken(t); ok {
			err := l.stream(rpc.WithToken(ctx, token), t)
			if ctx.Err() == nil && err != nil && err != io.EOF { //nolint:errorlint // gRPC gives io.EOF itself
				l.logger.WarnContext(ctx, "live updates stand still and try again", "topic", t.name, "site", t.site, "error", err)
			}
		}
		select {
		case <-ctx.Done():
		case <-time.After(streamPause):
			// Whatever happened meanwhile was not told.
			l.tell(t, 0)
		}
	}
}

func (l *live) someToken(t topic) (string, bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	f := l.feeds[t]
	if f == nil {
		return "", false
	}
	for listening := range f.listeners {
		return listening.token, true
	}
	return "", false
}

func (l *live) stream(ctx context.Context, t topic) error {
	switch {
	case t.name == "jobs":
		stream, err := l.services.Job.WatchJobs(ctx, &jobv1.WatchJobsRequest{})
		return relay(l, t, stream, err)
	case t.name == "board":
		stream, err := l.services.Scheduling.WatchBoard(ctx, &schedulingv1.WatchBoardRequest{})
		return relay(l, t, stream, err)
	case t.name == "parts":
		stream, err := l.services.Inventory.WatchParts(ctx, &inventoryv1.WatchPartsRequest{})
		return relay(l, t, stream, err)
	case strings.HasPrefix(t.name, "jobs/"):
		stream, err := l.services.Job.WatchJob(ctx, &jobv1.WatchJobRequest{Job: t.name})
		return relay(l, t, stream, err)
	default:
		stream, err := l.services.Audit.WatchSheet(ctx, &torqueauditv1.WatchSheetRequest{Job: "jobs/" + last(t.name)})
		return relay(l, t, stream, err)
	}
}

// relay tells of every message.
func relay[M interface{ GetRevision() uint64 }](l *live, t topic, stream interface{ Recv() (M, error) }, err error) error {
	for err == nil {
		var m M
		if m, err = stream.Recv(); err == nil {
			l.tell(t, m.GetRevision())
		}
	}
	return err
}

func (l *live) tell(t topic, revision uint64) {
	l.mu.Lock()
	defer l.mu.Unlock()
	f := l.feeds[t]
	if f == nil {
		return
	}
	for listening := range f.listeners {
		listening.note(revision)
	}
}

func (n *listener) note(revision uint64) {
	n.mu.Lock()
	n.revision = max(n.revision, revision)
	n.mu.Unlock()
	select {
	case n.wake <- struct{}{}:
	default:
	}
}

// newest gives the revision that the page has to show.
func (n *listener) newest() uint64 {
	n.mu.Lock()
	defer n.mu.Unlock()
	return n.revision
}
