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
	names := r.URL.Query()["topic"]
	if err := checkTopics(names); err != nil {
		v.fail(err)
		return
	}
	listening, leave := d.live.listen(v.who.Site, v.who.token, names)
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
			text = ""
			for range listening.take() {
				text = "event: change\ndata: \n\n"
			}
		case <-pulse.C:
			text = ": still here\n\n"
		}
	}
}

func checkTopics(names []string) error {
	if len(names) == 0 || len(names) > 4 {
		return badField("topic", "must be named one to four times")
	}
	for _, name := range names {
		if !topicPattern.MatchString(name) {
			return badField("topic", "must be jobs, board, parts, jobs/N or sheets/N")
		}
	}
	return nil
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
