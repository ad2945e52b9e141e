package desk

import (
	"fmt"
	"net/http"
	"regexp"
	"time"

	"ramprow/internal/platform/fault"
)

const (
	livePace  = 300 * time.Millisecond // a page is told at most this often
	livePulse = 20 * time.Second       // keeps the connection open, and finds out that a browser is gone
)

var topicPattern = regexp.MustCompile(`^(jobs|board|parts|jobs/[1-9][0-9]{0,9}|sheets/[1-9][0-9]{0,9})$`)

// follow tells a browser by server-sent events what changed, until it leaves.
func (d *Desk) follow(w http.ResponseWriter, r *http.Request) {
	v := &visit{d: d, w: w, r: r, ctx: r.Context()}
	if err := v.admit(nil); err != nil {
		v.fail(err)
		return
	}
	name := r.URL.Query().Get("topic")
	if !topicPattern.MatchString(name) {
		v.fail(badField("topic", "must be jobs, board, parts, jobs/N or sheets/N"))
		return
	}
	listening, leave := d.live.listen(topic{site: v.who.Site, name: name}, v.who.token)
	if listening == nil {
		v.fail(fault.New(fault.Exhausted, "TOO_MANY_PAGES", "too many pages are open; close some and load this one again"))
		return
	}
	defer leave()
	w.Header().Set("Content-Type", "text/event-stream")
	w.Header().Set("Cache-Control", "no-store")
	flusher := http.NewResponseController(w)
	pulse := time.NewTicker(livePulse)
	defer pulse.Stop()
	text := ": open\n\n"
	for {
		if _, err := fmt.Fprint(w, text); err != nil {
			return
		}
		if err := flusher.Flush(); err != nil {
			return
		}
		if !pause(r, livePace) {
			return
		}
		select {
		case <-r.Context().Done():
			return
		case <-listening.wake:
			text = fmt.Sprintf("event: change\ndata: %d\n\n", listening.newest())
		case <-pulse.C:
			text = ": still here\n\n"
		}
	}
}

// pause waits, and says whether the browser is still there.
func pause(r *http.Request, length time.Duration) bool {
	timer := time.NewTimer(length)
	defer timer.Stop()
	select {
	case <-timer.C:
		return true
	case <-r.Context().Done():
		return false
	}
}
