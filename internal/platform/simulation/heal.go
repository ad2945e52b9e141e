package simulation

import (
	"fmt"
	"testing/synctest"
	"time"

	"google.golang.org/protobuf/encoding/prototext"
	"google.golang.org/protobuf/proto"
)

// healing bounds how often the world is given time to come to rest.
const healing = 6

// heal ends the faults: every replica crashes, one of each service comes back
// with a right clock, and everything that has no answer is asked again.
func (w *world) heal() error {
	w.note("the faults end")
	for _, r := range w.running() {
		r.stop()
	}
	synctest.Wait()
	for _, r := range w.replicas {
		r.skew = 0
	}
	w.hear()
	if err := w.startFirst(); err != nil {
		return err
	}
	w.rest()
	for _, request := range w.unanswered() {
		for _, r := range w.running() {
			if r.service.Name == request.Service {
				w.send(r, request)
			}
		}
		w.settle()
	}
	w.rest()
	w.hear()
	return nil
}

// rest lets time pass until pauses are over and nothing waits.
func (w *world) rest() {
	for range healing {
		w.settle()
		w.pass(300 * time.Millisecond)
	}
	w.settle()
}

// unanswered gives each request without an answer once. A refusal counts as
// none: whether it was one, or the caller merely did not learn the outcome, is
// what asking again finds out.
func (w *world) unanswered() []Request {
	w.mu.Lock()
	defer w.mu.Unlock()
	known := map[string]bool{}
	for _, c := range w.calls {
		if c.Answered && c.Err == nil {
			known[requestID(c.Message)] = true
		}
	}
	var open []Request
	for _, c := range w.calls {
		if id := requestID(c.Message); !known[id] {
			known[id] = true
			open = append(open, c.Request)
		}
	}
	return open
}

// brief shows a request on one line.
func brief(m proto.Message) string {
	text := prototext.MarshalOptions{}.Format(m)
	if runes := []rune(text); len(runes) > 200 {
		text = string(runes[:200]) + "…"
	}
	return fmt.Sprintf("{%s}", text)
}
