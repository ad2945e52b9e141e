package bench

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"strconv"
	"strings"
	"sync"
	"time"
)

// visitor does what a browser does with one live page: it opens it, listens, and
// asks for it anew whenever something changed, one request at a time.
type visitor struct {
	kind      kind
	url       string
	client    *http.Client
	connected chan struct{} // closed once the stream stands

	first     time.Duration
	mostBytes int
	refreshes []time.Duration

	mu      sync.Mutex
	seen    []sight
	wake    chan struct{} // holds one token
	failure error
}

// sight is an event, and when the page that holds it was there.
type sight struct {
	revision uint64
	told     time.Time
	shown    time.Time // zero: a later page showed it
}

// enter signs somebody in and opens the page.
func enter(ctx context.Context, h *house, k kind, transport http.RoundTripper) (*visitor, error) {
	jar, err := cookiejar.New(nil)
	if err != nil {
		return nil, err
	}
	v := &visitor{
		kind: k, url: h.url, client: &http.Client{Jar: jar, Transport: transport},
		connected: make(chan struct{}), wake: make(chan struct{}, 1),
	}
	token, err := h.token(k.person, k.role)
	if err != nil {
		return nil, err
	}
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, h.url+"/signin", strings.NewReader(url.Values{"token": {token}}.Encode()))
	if err != nil {
		return nil, err
	}
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	if _, err := v.fetch(r); err != nil {
		return nil, fmt.Errorf("sign %s in: %w", k.person, err)
	}
	began := time.Now()
	if err := v.get(ctx, k.path); err != nil {
		return nil, err
	}
	v.first = time.Since(began)
	return v, nil
}

func (v *visitor) get(ctx context.Context, path string) error {
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, v.url+path, nil)
	if err != nil {
		return err
	}
	n, err := v.fetch(r)
	v.mostBytes = max(v.mostBytes, n)
	return err
}

func (v *visitor) fetch(r *http.Request) (int, error) {
	answer, err := v.client.Do(r)
	if err != nil {
		return 0, err
	}
	n, err := io.Copy(io.Discard, answer.Body)
	err = errors.Join(err, answer.Body.Close())
	if err == nil && answer.StatusCode != http.StatusOK {
		err = fmt.Errorf("%s answers %s", r.URL.Path, answer.Status)
	}
	return int(n), err
}

// look keeps the page current until ctx ends.
func (v *visitor) look(ctx context.Context) {
	var listening sync.WaitGroup
	listening.Go(func() { v.fail(ctx, v.listen(ctx)) })
	defer listening.Wait()
	for {
		select {
		case <-ctx.Done():
			return
		case <-v.wake:
		}
		newest := v.newest()
		began := time.Now()
		path := v.kind.path + "?at=" + strconv.FormatUint(newest, 10)
		if err := v.get(ctx, path); err != nil {
			v.fail(ctx, err)
			return
		}
		v.refreshes = append(v.refreshes, time.Since(began))
		v.showed(newest, time.Now())
	}
}

// listen follows the page's stream of events.
func (v *visitor) listen(ctx context.Context) error {
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, v.url+"/live?topic="+url.QueryEscape(v.kind.topic), nil)
	if err != nil {
		return err
	}
	answer, err := v.client.Do(r)
	if err != nil {
		return err
	}
	defer func() { _ = answer.Body.Close() }()
	if answer.StatusCode != http.StatusOK {
		return fmt.Errorf("/live answers %s", answer.Status)
	}
	lines := bufio.NewScanner(answer.Body)
	for lines.Scan() {
		text := lines.Text()
		if text == ": open" {
			close(v.connected)
		}
		if data, ok := strings.CutPrefix(text, "data: "); ok {
			revision, err := strconv.ParseUint(data, 10, 64)
			if err != nil {
				return err
			}
			v.note(revision, time.Now())
		}
	}
	return lines.Err()
}

func (v *visitor) note(revision uint64, at time.Time) {
	v.mu.Lock()
	v.seen = append(v.seen, sight{revision: revision, told: at})
	v.mu.Unlock()
	select {
	case v.wake <- struct{}{}:
	default:
	}
}

func (v *visitor) newest() uint64 {
	v.mu.Lock()
	defer v.mu.Unlock()
	return v.seen[len(v.seen)-1].revision
}

// showed marks every event that the page holds by now.
func (v *visitor) showed(revision uint64, at time.Time) {
	v.mu.Lock()
	defer v.mu.Unlock()
	for i := len(v.seen) - 1; i >= 0 && v.seen[i].shown.IsZero(); i-- {
		if v.seen[i].revision <= revision {
			v.seen[i].shown = at
		}
	}
}

// fail keeps the first failure that is not the end.
func (v *visitor) fail(ctx context.Context, err error) {
	if ctx.Err() != nil {
		return
	}
	if err == nil {
		err = errors.New("the stream ended")
	}
	v.mu.Lock()
	defer v.mu.Unlock()
	if v.failure == nil {
		v.failure = fmt.Errorf("a page of %s: %w", v.kind.name, err)
	}
}
