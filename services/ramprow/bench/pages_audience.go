package bench

import (
	"context"
	"errors"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"ramprow/internal/platform/identity"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// kind is a page that people keep open.
type kind struct {
	name   string
	person string
	role   identity.Role
	path   string // JOB stands for a number
	topic  string
}

// kinds in the order in which people open them: more at the bays than anywhere else.
var kinds = []kind{
	{"bench", "tomas", identity.Technician, "/work/JOB", "jobs/JOB"},
	{"bays", "dario", identity.Dispatcher, "/bays", "board"},
	{"work", "runa", identity.Technician, "/work", "jobs"},
	{"shelf", "clara", identity.PartsClerk, "/shelf", "parts"},
	{"job", "dario", identity.Dispatcher, "/jobs/JOB", "jobs/JOB"},
	{"bench", "malik", identity.Technician, "/work/JOB", "jobs/JOB"},
	{"jobs", "ines", identity.Owner, "/jobs", "jobs"},
	{"bays", "dario", identity.Dispatcher, "/bays", "board"},
	{"work", "tomas", identity.Technician, "/work", "jobs"},
	{"bench", "tove", identity.Technician, "/work/JOB", "jobs/JOB"},
}

// audience is everybody who has a page open.
type audience struct {
	visitors []*visitor
	stop     context.CancelFunc
	looking  sync.WaitGroup
}

func openAudience(ctx context.Context, h *house, pages int) (*audience, error) {
	jobs, err := openJobs(ctx, h)
	if err != nil {
		return nil, err
	}
	looking, stop := context.WithCancel(ctx)
	c := &audience{stop: stop}
	transport := &http.Transport{MaxIdleConns: 4 * pages, MaxIdleConnsPerHost: 4 * pages}
	for i := range pages {
		k := kinds[i%len(kinds)]
		number := strings.TrimPrefix(jobs[i/len(kinds)%len(jobs)], "jobs/")
		k.path, k.topic = strings.Replace(k.path, "JOB", number, 1), strings.Replace(k.topic, "JOB", number, 1)
		v, err := enter(looking, h, k, transport)
		if err != nil {
			c.close()
			return nil, err
		}
		c.visitors = append(c.visitors, v)
		c.looking.Go(func() { v.look(looking) })
	}
	for _, v := range c.visitors { // each stream stands before anything is measured
		select {
		case <-v.connected:
		case <-ctx.Done():
			c.close()
			return nil, ctx.Err()
		}
	}
	return c, nil
}

// openJobs are those that somebody works on or waits for, at most twenty; the
// first car of the day may still be on its way.
func openJobs(ctx context.Context, h *house) ([]string, error) {
	as, err := h.as(ctx, "dario", identity.Dispatcher)
	if err != nil {
		return nil, err
	}
	for deadline := time.Now().Add(patience); ; {
		r, err := h.clients.Job.ListJobs(as, &jobv1.ListJobsRequest{PageSize: 20})
		if err != nil {
			return nil, err
		}
		var names []string
		for _, j := range r.GetJobs() {
			names = append(names, j.GetName())
		}
		if len(names) > 0 {
			return names, nil
		}
		if time.Now().After(deadline) {
			return nil, errNothingThere
		}
		if err := rest(ctx, 50*time.Millisecond); err != nil {
			return nil, err
		}
	}
}

// jobs that somebody looks at.
func (c *audience) jobs() []string {
	var names []string
	for _, v := range c.visitors {
		if strings.HasPrefix(v.kind.topic, "jobs/") && !slices.Contains(names, v.kind.topic) {
			names = append(names, v.kind.topic)
		}
	}
	return names
}

func (c *audience) close() {
	c.stop()
	c.looking.Wait()
}

// failed is why pages could not be kept open.
func (c *audience) failed() error {
	var failures []error
	for _, v := range c.visitors {
		failures = append(failures, v.failure)
	}
	return errors.Join(failures...)
}

// tell sums up what visitors saw. Nobody looks any more.
func (c *audience) tell(r *PagesReport, sent []probe, began time.Time) {
	var told, shown []time.Duration
	events, refreshes := 0, 0
	for _, v := range c.visitors {
		for _, s := range v.seen {
			if s.told.After(began) {
				events++
			}
		}
		refreshes += len(v.refreshes)
		for _, p := range sent {
			if !slices.Contains(p.topics, v.kind.topic) {
				continue
			}
			at := slices.IndexFunc(v.seen, func(s sight) bool { return s.revision >= p.revision })
			if at < 0 {
				r.Missed++
				continue
			}
			// A page may hear of it before the caller has its answer.
			told = append(told, max(0, v.seen[at].told.Sub(p.answered)))
			if at = slices.IndexFunc(v.seen, func(s sight) bool { return s.revision >= p.revision && !s.shown.IsZero() }); at >= 0 {
				shown = append(shown, max(0, v.seen[at].shown.Sub(p.answered)))
			}
		}
	}
	r.Told, r.Shown = delaysOf(told), delaysOf(shown)
	r.Events, r.Refreshes = float64(events)/r.Seconds, float64(refreshes)/r.Seconds
	r.Kinds = c.byKind()
}

func (c *audience) byKind() []PageFigures {
	var figures []PageFigures
	for _, k := range kinds {
		if slices.ContainsFunc(figures, func(f PageFigures) bool { return f.Kind == k.name }) {
			continue
		}
		f := PageFigures{Kind: k.name}
		var first, refreshed []time.Duration
		for _, v := range c.visitors {
			if v.kind.name == k.name {
				f.Open++
				f.MostBytes = max(f.MostBytes, v.mostBytes)
				first = append(first, v.first)
				refreshed = append(refreshed, v.refreshes...)
			}
		}
		if f.Open > 0 {
			f.First, f.Refreshed = delaysOf(first), delaysOf(refreshed)
			figures = append(figures, f)
		}
	}
	return figures
}

func delaysOf(times []time.Duration) Delays {
	slices.Sort(times)
	at := func(p float64) float64 { return millis(Percentile(times, p)) }
	return Delays{Count: len(times), P50: at(50), P95: at(95), P99: at(99)}
}
